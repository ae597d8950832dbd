"""What a report is made from: a job as frozen plain data, every word of it ready to be printed.

Whoever keeps the job (``halfsplit.job``) fills in a `JobView`, with the store's own records where they say it;
everything has a default, so that a job that was only just taken in prints too. Text is printed as it stands, never
read as markup. Moments are told in the workshop's own time, money is a `Decimal` in ``Costs.currency``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from typing import Literal

from halfsplit.report.signals import CodesView, DrainReport
from halfsplit.store import (
    Authorisation,
    Complaint,
    Customer,
    EarlierWork,
    PartUse,
    PartUsed,
    Step,
    Vehicle,
    Workshop,
)

Phase = Literal["arrival", "search", "proof", "after repair"]
"""When in the job a step was made: as the vehicle came in, to find the cause, to prove it, after the repair."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class PhotoView:
    """A photo: JPEG, PNG, GIF or WebP as bytes, else it is named instead. ``ref``: where it is kept."""

    name: str
    ref: str = ""
    data: bytes = field(default=b"", repr=False)


@dataclass(frozen=True, kw_only=True)
class StepView:
    """One entry of the evidence: something seen, measured, done or said.

    ``what``        what was asked or measured, in words
    ``red``, ``black``  where the two leads were; empty where the instrument has none
    ``reading``     with its unit, or a word ('12.3 V', 'dark')
    ``allowed``     the range that would have been right, and ``allowed_source``: who says so
    ``minutes``     of this step, None where nobody counted
    ``struck``      the reason for which it was struck out; empty where it counts
    ``decisive``    it led to the cause or shows the repair: the customer's page tells it
    ``plain``, ``plain_reading``, ``plain_allowed``  the same in plain words for the customer; empty: as it stands
    """

    at: str
    who: str
    what: str
    phase: Phase = "search"
    minutes: float | None = None
    state: str = ""
    instrument: str = ""
    serial: str = ""
    red: str = ""
    black: str = ""
    reading: str = ""
    allowed: str = ""
    allowed_source: str = ""
    struck: str = ""
    decisive: bool = False
    plain: str = ""
    plain_reading: str = ""
    plain_allowed: str = ""
    photos: tuple[PhotoView, ...] = ()


@dataclass(frozen=True, kw_only=True)
class CheckView:
    """A reading before and after the repair. ``result``: 'good', 'bad', or 'open' where it was not made again.

    ``plain`` and its companions: the same in plain words for the customer; empty: as it stands.
    """

    what: str
    before: str = ""
    after: str = ""
    allowed: str = ""
    allowed_source: str = ""
    plain: str = ""
    plain_before: str = ""
    plain_after: str = ""
    plain_allowed: str = ""
    result: Literal["good", "bad", "open"] = "open"


@dataclass(frozen=True, kw_only=True)
class FindingView:
    """What was found.

    ``cause`` apart from ``consequence`` (what the cause brought about: 'both lamps glowed through each other').
    ``proven``: by measurement; ``shown``: what proof there is; ``missing``: what is not proven; ``declined``: what the
    customer did not want done. ``repair``: the repair that the cause asks for.
    """

    cause: str = ""
    consequence: str = ""
    repair: str = ""
    proven: bool = False
    shown: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    declined: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SuspectView:
    """A repair that was, or still is, in question. ``probability`` from 0 to 1; ``out``: ruled out."""

    name: str
    probability: float
    repair: str = ""
    for_: tuple[str, ...] = ()
    against: tuple[str, ...] = ()
    out: bool = False


@dataclass(frozen=True, kw_only=True)
class Costs:
    """Time and money of a job. ``rate`` is None where nobody set one; then there are no sums. ``limit``: authorised.

    ``estimate``: with the parts that are named as an estimate, None where none is. ``on_suspicion``: what those parts
    would have cost.
    """

    currency: str = ""
    rate: Decimal | None = None
    minutes: float = 0.0
    work: Decimal | None = None
    parts: Decimal = Decimal(0)
    total: Decimal | None = None
    limit: Authorisation | None = None
    over: bool = False
    steps: tuple[Step, ...] = ()
    lines: tuple[PartUsed, ...] = ()
    estimate: Decimal | None = None
    on_suspicion: Decimal = Decimal(0)

    def used(self, use: PartUse) -> tuple[PartUsed, ...]:
        """The parts that were fitted, say."""
        return tuple(line for line in self.lines if line.use == use)


@dataclass(frozen=True, kw_only=True)
class JobView:
    """A whole job. ``as_of``: its last change, with a time zone; the same view always gives the same bytes.

    ``arrival_codes``: fault codes as they were before anything was cleared. ``drawing``: a complete SVG with its
    styles inside. ``work`` and ``steps`` in the order in which they were done. ``refitted``: what was unplugged or
    taken off and is back in place. ``codes``, ``drain``: the scan reports and the
    parasitic draw. ``versions``: name and version of what worked the results out.
    """

    number: str
    as_of: datetime = EPOCH
    opened: str = ""
    closed: str = ""
    state: str = ""
    shop: Workshop = field(default_factory=Workshop)
    customer: Customer = field(default_factory=Customer)
    vehicle: Vehicle = field(default_factory=Vehicle)
    complaint: Complaint = field(default_factory=Complaint)
    battery: str = ""
    arrival_codes: tuple[str, ...] = ()
    earlier_work: tuple[EarlierWork, ...] = ()
    steps: tuple[StepView, ...] = ()
    finding: FindingView = field(default_factory=FindingView)
    correction: str = ""
    checks: tuple[CheckView, ...] = ()
    unplugged: tuple[str, ...] = ()
    refitted: tuple[str, ...] = ()
    work: tuple[Step, ...] = ()
    parts: tuple[PartUsed, ...] = ()
    limits: tuple[Authorisation, ...] = ()
    money: Costs = field(default_factory=Costs)
    suspects: tuple[SuspectView, ...] = ()
    codes: CodesView = field(default_factory=CodesView)
    drain: DrainReport = field(default_factory=DrainReport)
    drawing: str = ""
    circuit: str = ""
    cautions: tuple[str, ...] = ()
    versions: tuple[tuple[str, str], ...] = ()
