"""Bodies and answers of the interface for programs; bodies are strict."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from halfsplit import job as jobs

TEXT = r"^[^\x00]*$"


class Strict(BaseModel):
    """Bodies: nothing is converted, nothing unknown is let through."""

    model_config = ConfigDict(strict=True, extra="forbid")


def _text(longest: int, least: int = 0) -> Any:
    return Field(default="", min_length=least, max_length=longest, pattern=TEXT)


class NewJob(Strict):
    """Everything but the complaint can come later. ``job_id``: given by the sender, so that a repeat opens it once."""

    job_id: str = Field(default="", pattern=r"^[A-Za-z0-9_.:-]{0,60}$")
    complaint: str = _text(2000)
    when: str = _text(2000)
    how_often: Literal["always", "intermittent", "unknown"] = "unknown"
    vehicle: str = _text(200)
    vin: str = _text(30)
    odometer: int | None = Field(default=None, ge=0, le=9_999_999)
    battery_volts: float | None = Field(default=None, ge=0, le=60, allow_inf_nan=False)
    instruments: list[Annotated[str, Field(max_length=40, pattern=TEXT)]] = Field(
        default_factory=list, max_length=20
    )
    circuit: str = _text(jobs.LONGEST_CIRCUIT)


class JobLine(BaseModel):
    """A job in the list, or alone."""

    job_id: str
    number: int
    state: str
    complaint: str
    vehicle: str
    opened_at: datetime
    changed_at: datetime
    last_change: int


class CircuitBody(Strict):
    """``based_on``: the version that was edited; None overwrites whatever is there (the earlier ones are kept)."""

    text: str = Field(max_length=jobs.LONGEST_CIRCUIT, pattern=TEXT)
    based_on: int | None = Field(default=None, ge=0, le=1_000_000)


class ProblemLine(BaseModel):
    """One problem of a text, with its line."""

    severity: str
    line: int
    column: int
    message: str
    remedy: str
    kind: str


class CircuitOut(BaseModel):
    """``parts``: name → kind; empty where the text has mistakes."""

    version: int
    text: str
    problems: list[ProblemLine]
    parts: dict[str, str]
    states: list[str]
    points: list[str]


class EvidenceBody(Strict):
    """An entry. A ``reading`` has ``place`` and ``value`` (as typed, or in ``unit``); other kinds have a ``payload``.

    ``entry_id`` comes from whoever enters it: sent twice, it is stored once.
    """

    entry_id: str = Field(default="", pattern=r"^[A-Za-z0-9_.:-]{0,60}$")
    kind: Literal["reading", "complaint", "code", "event", "cannot", "note", "repair", "reopened"] = "reading"
    place: dict[str, Any] = Field(default_factory=dict)
    payload: dict[str, Any] = Field(default_factory=dict)
    value: Annotated[str, Field(max_length=60, pattern=TEXT)] | float | None = None
    unit: Literal["", "V", "mV", "A", "mA", "ohm", "kohm", "Mohm", "%", "Hz", "kHz", "bar", "kPa"] = ""
    confirmed: bool = False
    present: Literal["yes", "no", "unknown"] = "unknown"
    serial: str = _text(60)


class StrikeBody(Strict):
    """Why an entry is struck out."""

    reason: str = Field(min_length=1, max_length=2000, pattern=r"^[^\x00]*[^\s\x00][^\x00]*$")


class EvidenceOut(BaseModel):
    """An entry as it is stored."""

    entry_id: str
    kind: str
    payload: dict[str, Any]
    at: datetime
    who: str
    present: str
    instrument: str
    strikes: str | None
    reason: str
    sequence: int


class MeaningOut(BaseModel):
    """What one result of a test would leave."""

    label: str
    share: float
    leaves: list[tuple[str, float]]


class TestOut(BaseModel):
    """``place`` is what is sent back with the result. ``words``: the answers, where no number is asked."""

    key: str
    sentence: str
    quantity: str
    at: str
    to: str | None
    state: str
    instrument: str | None
    minutes: float
    bits: float
    unit: str
    words: list[str]
    cautions: list[str]
    meanings: list[MeaningOut]
    place: dict[str, Any]


class SuspectOut(BaseModel):
    """One repair, with what speaks for and against it."""

    part: str
    mode: str
    cause: str
    probability: float
    repair: str
    for_: list[str]
    against: list[str]


class FindingOut(BaseModel):
    """What was found, and what proof is missing."""

    cause: str
    part: str
    repair: str
    probability: float
    proven: bool
    missing_proof: list[str]
    explains: list[str]
    verify: list[str]


class SuspectsOut(BaseModel):
    """``after``: the number of the last change that was taken into account."""

    after: int
    suspects: list[SuspectOut]
    finding: FindingOut | None


class ReportOut(BaseModel):
    """A report and where it is."""

    name: Literal["customer", "workshop"]
    address: str
    ready: bool


class FileOut(BaseModel):
    """A stored file."""

    attachment_id: str
    name: str
    media_type: str
    size: int
    sha256: str


class FileBody(Strict):
    """A file: its bytes in base64."""

    attachment_id: str = Field(default="", pattern=r"^[A-Za-z0-9_.:-]{0,60}$")
    name: str = Field(min_length=1, max_length=120, pattern=TEXT)
    data: str = Field(max_length=28_000_000, pattern="^[A-Za-z0-9+/=]*$")
