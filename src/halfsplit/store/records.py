"""What the job store keeps, as frozen dataclasses.

Nothing here knows a circuit, a diagnosis or a capture: the notation is text, evidence is a kind with a JSON
payload, and a result that somebody was shown is a document with the engine's version beside it. Suspects are
never kept as truth.

Every moment is a `datetime` with a time zone, passed in by the caller and kept in UTC. Ids are given by
whoever enters something (a UUID string, as a rule), so that sending it twice stores it once. `sequence` is
given by the store: the number of the change within its job, which only ever grows; it is 0 in a record that
has not been stored yet. Money is a `Decimal` in the workshop's currency.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal

HowOften = Literal["always", "intermittent", "unknown"]
Present = Literal["yes", "no", "unknown"]
JobState = Literal["open", "found", "proven", "repaired", "closed"]
Role = Literal["technician", "adviser", "viewer", "owner"]
AttachmentKind = Literal["photo", "document", "capture", "scan"]
PartUse = Literal["fitted", "estimate", "on suspicion"]


@dataclass(frozen=True, kw_only=True)
class Complaint:
    """What is wrong, in the customer's own words, and when it occurs."""

    text: str = ""
    when: str = ""
    how_often: HowOften = "unknown"


@dataclass(frozen=True, kw_only=True)
class Vehicle:
    """The vehicle as it came in. The VIN is kept as entered; checking it is for the caller."""

    vin: str = ""
    description: str = ""
    registration: str = ""
    odometer: int | None = None
    odometer_unit: Literal["km", "mi"] = "km"

    @property
    def driven(self) -> str:
        """Such as '148,200 km'; '' where nobody has read it."""
        return "" if self.odometer is None else f"{self.odometer:,} {self.odometer_unit}"


@dataclass(frozen=True, kw_only=True)
class BatteryReading:
    """The battery before anything else: volts, degrees Celsius, type, and whether it had rested for hours."""

    volts: float
    celsius: float | None = None
    type: str = ""
    rested: bool = False


@dataclass(frozen=True, kw_only=True)
class EarlierWork:
    """Work done before this job: `touched` names the parts and connectors where hands have been.

    `began_then`: the complaint began at that visit.
    """

    what: str
    on: date | None = None
    by: str = ""
    touched: tuple[str, ...] = ()
    began_then: bool = False


@dataclass(frozen=True, kw_only=True)
class JobSettings:
    """What the diagnosis of this job works with, and the price of an hour as agreed for it."""

    instruments: tuple[str, ...] = ()
    intermittent: bool = False
    seed: int = 0
    currency: str = ""
    hourly_rate: Decimal | None = None


@dataclass(frozen=True, kw_only=True)
class Intake:
    """Everything taken in at the counter. Each saving is a new version; the earlier ones are kept."""

    complaint: Complaint = field(default_factory=Complaint)
    vehicle: Vehicle = field(default_factory=Vehicle)
    battery: BatteryReading | None = None
    earlier_work: tuple[EarlierWork, ...] = ()
    settings: JobSettings = field(default_factory=JobSettings)


@dataclass(frozen=True, kw_only=True)
class IntakeVersion:
    """One version of the intake: who saved it and when. Versions count from 1."""

    version: int
    intake: Intake
    who: str
    at: datetime
    sequence: int = 0


@dataclass(frozen=True, kw_only=True)
class CircuitVersion:
    """One version of the job's circuit, as notation text. Versions count from 1."""

    version: int
    text: str
    who: str
    at: datetime
    sequence: int = 0


@dataclass(frozen=True, kw_only=True)
class EvidenceEntry:
    """One thing that was seen, measured, done or said. Never changed and never deleted.

    `kind` is one of the job's plain words: complaint, observation, code, reading, event, cannot, capture,
    repair, note, strike and so on; the store gives a meaning to `strike` alone. `payload` is JSON: what the
    kind needs. A strike-out is a further entry of kind `strike` with `strikes` (the id of the struck entry)
    and `reason`. `attachments` are ids of attachments that were stored before.
    """

    entry_id: str
    kind: str
    at: datetime
    who: str
    payload: Mapping[str, Any] = field(default_factory=dict)
    present: Present = "unknown"
    instrument: str = ""
    serial: str = ""
    strikes: str | None = None
    reason: str = ""
    attachments: tuple[str, ...] = ()
    sequence: int = 0


@dataclass(frozen=True, kw_only=True)
class Attachment:
    """A photo, document, capture or scan report. The bytes lie in a file that is named by their SHA-256.

    `size` (bytes), `sha256` and `media_type` are found by the store from the content, whatever the caller
    says.
    """

    attachment_id: str
    kind: AttachmentKind
    name: str
    at: datetime
    who: str
    media_type: str = ""
    size: int = 0
    sha256: str = ""
    sequence: int = 0


@dataclass(frozen=True, kw_only=True)
class Step:
    """A piece of work with its minutes: entered, or from a start and a stop. `minutes` is None while it runs.

    A step that should not count is saved again with `withdrawn=True`. `entry_id` is the evidence that it led
    to.
    """

    step_id: str
    what: str
    who: str
    minutes: float | None = None
    started_at: datetime | None = None
    stopped_at: datetime | None = None
    entry_id: str | None = None
    withdrawn: bool = False
    sequence: int = 0


@dataclass(frozen=True, kw_only=True)
class PartUsed:
    """A part with the price of one: fitted, an estimate, or what replacing on suspicion would have cost."""

    part_id: str
    name: str
    price: Decimal
    quantity: Decimal = Decimal(1)
    use: PartUse = "fitted"
    part_number: str = ""
    serial: str = ""
    old_part_kept: bool = False
    withdrawn: bool = False
    sequence: int = 0


@dataclass(frozen=True, kw_only=True)
class Authorisation:
    """The limit that the customer authorised: `amount` in `currency`, by whom and how (telephone, signed, …)."""

    authorisation_id: str
    amount: Decimal
    by_whom: str
    at: datetime
    who: str
    how: str = ""
    currency: str = ""
    sequence: int = 0


@dataclass(frozen=True, kw_only=True)
class ShownResult:
    """A result as somebody saw it: never read back as truth, kept to explain later what the page had said.

    `what` names it (suspects, next tests, finding, report); `after` is the sequence number of the last
    change that it took into account.
    """

    what: str
    document: Mapping[str, Any]
    engine_version: str
    after: int
    who: str
    at: datetime
    sequence: int = 0


@dataclass(frozen=True, kw_only=True)
class Closing:
    """How the job ended: complaint, cause, correction. Closing again later keeps the earlier one."""

    complaint: str
    cause: str
    correction: str
    who: str
    at: datetime
    sequence: int = 0


@dataclass(frozen=True, kw_only=True)
class Customer:
    """How to reach the customer. This alone can be erased from a job: it is personal and proves nothing."""

    name: str = ""
    phone: str = ""
    email: str = ""
    address: str = ""


@dataclass(frozen=True, kw_only=True)
class Job:
    """A job's present state. Evidence, circuits, steps, parts and the rest are asked for separately."""

    job_id: str
    number: int
    state: JobState
    opened_at: datetime
    opened_by: str
    changed_at: datetime
    last_change: int
    intake_version: int
    circuit_version: int
    intake: Intake
    customer: Customer | None = None
    closing: Closing | None = None


@dataclass(frozen=True, kw_only=True)
class ClosedJob:
    """A closed job as it teaches: its circuit's text, its intake, and what it taught, where that was kept."""

    job_id: str
    number: int
    last_change: int
    opened_at: datetime
    circuit: str
    intake: Intake
    lesson: Mapping[str, Any] | None = None


@dataclass(frozen=True, kw_only=True)
class JobSummary:
    """One line of the list of jobs. `minutes` is the sum of the steps that are not withdrawn."""

    job_id: str
    number: int
    state: JobState
    opened_at: datetime
    changed_at: datetime
    last_change: int
    complaint: str
    how_often: HowOften
    vehicle: str
    registration: str
    vin: str
    minutes: float


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change of a job: what was changed (evidence, circuit, step, …), which one, who, when."""

    sequence: int
    what: str
    ref: str
    who: str
    at: datetime


@dataclass(frozen=True, kw_only=True)
class AuditEntry:
    """Who did what. A change of a job has its `job_id` and `sequence`; accounts and settings have neither."""

    who: str
    what: str
    at: datetime
    ref: str = ""
    job_id: str | None = None
    sequence: int | None = None
    number: int = 0


@dataclass(frozen=True, kw_only=True)
class Workshop:
    """The workshop's settings: currency (ISO 4217 code), price of an hour, and the heads of the report.

    `serials`: the serial numbers of its instruments, a line each: `meter = 20417`. `adapters`: the channels by which
    a vehicle may be read from the browser, a line each.
    """

    name: str = ""
    address: str = ""
    contact: str = ""
    currency: str = ""
    hourly_rate: Decimal | None = None
    serials: str = ""
    adapters: str = ""


@dataclass(frozen=True, kw_only=True)
class User:
    """Someone with an account. `password_hash` is kept as given (argon2); names differ by more than case."""

    name: str
    password_hash: str = field(repr=False)
    role: Role
    created_at: datetime
    disabled: bool = False


@dataclass(frozen=True, kw_only=True)
class Session:
    """A browser that has signed in. The token itself is never kept, only its hash."""

    token_hash: str = field(repr=False)
    user: str
    csrf_secret: str = field(repr=False)
    created_at: datetime
    expires_at: datetime


@dataclass(frozen=True, kw_only=True)
class JobFile:
    """A whole job, as it is exported and imported. Its attachments' bytes travel beside it."""

    job_id: str
    state: JobState
    opened_at: datetime
    opened_by: str
    changed_at: datetime
    last_change: int
    customer: Customer | None
    intakes: tuple[IntakeVersion, ...]
    circuits: tuple[CircuitVersion, ...]
    evidence: tuple[EvidenceEntry, ...]
    attachments: tuple[Attachment, ...]
    steps: tuple[Step, ...]
    parts: tuple[PartUsed, ...]
    authorisations: tuple[Authorisation, ...]
    shown: tuple[ShownResult, ...]
    closings: tuple[Closing, ...]
    changes: tuple[Change, ...]


@dataclass(frozen=True, kw_only=True)
class Practice:
    """An exercise of practice: a hidden fault for one person to find, with how far it is or how it ended.

    `record` holds what was done and what came of it; it tells what is hidden as well, so that a later release
    does not change it. `ended_at` is None while it goes on; `points` and `best_minutes` are None until the best path
    has been worked out. `version` counts how often it was saved.
    """

    practice_id: str
    person: str
    title: str
    difficulty: str
    seed: int
    begun_at: datetime
    circuit: str = ""
    record: Mapping[str, Any] = field(default_factory=dict, repr=False)
    ended_at: datetime | None = None
    version: int = 0
    solved: bool = False
    points: int | None = None
    minutes: float = 0.0
    tests: int = 0
    hints: int = 0
    wrong: int = 0
    best_minutes: float | None = None


def struck_ids(entries: Iterable[EvidenceEntry]) -> frozenset[str]:
    """Ids of the entries that no longer count, from all entries of a job.

    A strike-out may itself be struck: then what it struck counts again. Strikes refer to earlier entries
    only, so one pass from the latest back to the first settles every one of them.
    """
    struck: set[str] = set()
    for entry in sorted(entries, key=lambda entry: entry.sequence, reverse=True):
        if entry.strikes is not None and entry.entry_id not in struck:
            struck.add(entry.strikes)
    return frozenset(struck)


def counting(entries: Iterable[EvidenceEntry]) -> tuple[EvidenceEntry, ...]:
    """Those of a job's entries that are not struck out, in their order."""
    entries = tuple(entries)
    struck = struck_ids(entries)
    return tuple(entry for entry in entries if entry.entry_id not in struck)
