"""What programs may send: strict bodies. What they get are the views of `halfsplit.job` as they are."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from halfsplit import job as jobs
from halfsplit.job.kinds import LONGEST_TEXT
from halfsplit.quantities import QUANTITIES

TEXT = r"^[^\x00]*$"
SAID = r"^[^\x00]*[^\s\x00][^\x00]*$"
"""Text that is not blank alone."""
BASE64 = "^(?:[A-Za-z0-9+/]{4})*(?:[A-Za-z0-9+/]{2}==|[A-Za-z0-9+/]{3}=)?$"


def _one_of(words: Iterable[str]) -> Any:
    """A field that holds one of these words, by schema and server alike."""
    known: list[Any] = list(words)
    return Field(
        pattern=f"^(?:{'|'.join(re.escape(word) for word in known)})$", json_schema_extra={"enum": known}
    )


Instrument = Annotated[str, _one_of((*jobs.INSTRUMENTS, "LED tester"))]


def _whole(value: Any) -> Any:
    return int(value) if isinstance(value, float) and value.is_integer() else value


As_whole = BeforeValidator(_whole)
"""In JSON Schema 5.0 is an integer too."""


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
    odometer: Annotated[int, Field(ge=0, le=9_999_999), As_whole] | None = None
    battery_volts: float | None = Field(default=None, ge=0, le=60, allow_inf_nan=False)
    instruments: list[Instrument] = Field(default_factory=list, max_length=20)
    circuit: str = _text(jobs.LONGEST_CIRCUIT)


class CircuitBody(Strict):
    """``based_on``: the version that was edited; None overwrites whatever is there (the earlier ones are kept)."""

    text: str = Field(max_length=jobs.LONGEST_CIRCUIT, pattern=TEXT)
    based_on: Annotated[int, Field(ge=0, le=1_000_000), As_whole] | None = None


Words = Annotated[str, Field(min_length=1, max_length=LONGEST_TEXT, pattern=SAID)]
"""Words that are needed: not blank alone."""
Free = Annotated[str, Field(max_length=LONGEST_TEXT, pattern=TEXT)]
Name = Annotated[str, Field(min_length=1, max_length=200, pattern=SAID)]
Ohms = Annotated[float, Field(gt=0, allow_inf_nan=False)]
As_list = Field(strict=False)
"""JSON has no tuples: a list of the same items is one."""
Change = (
    Annotated[tuple[Literal["unplug", "replace", "stand in"], Name], As_list]
    | Annotated[tuple[Literal["jump"], Name, Name], As_list]
    | Annotated[tuple[Literal["jump"], Name, Name, bool], As_list]
    | Annotated[tuple[Literal["lamp for"], Name], As_list]
    | Annotated[tuple[Literal["lamp for"], Name, Ohms], As_list]
)
"""What is changed before the measurement: ``["unplug", "M9"]``."""


class Place(Strict):
    """What is measured and where; a test's ``place``, without its value."""

    quantity: Annotated[str, _one_of(QUANTITIES)]
    at: Name
    to: Name | None = None
    state: Annotated[str, Field(max_length=200, pattern=TEXT)] = ""
    instrument: Instrument | None = None
    changes: list[Change] = Field(default_factory=list, max_length=20)
    detail: list[Name] = Field(default_factory=list, max_length=20)


class Entry(Strict):
    """What every entry may say. ``entry_id`` comes from whoever enters it: sent twice, it is stored once."""

    entry_id: str = Field(default="", pattern=r"^[A-Za-z0-9_.:-]{0,60}$")
    present: Literal["yes", "no", "unknown"] = "unknown"
    serial: str = _text(60)

    @property
    def said(self) -> dict[str, Any]:
        """What it says, as an entry keeps it."""
        payload: BaseModel = self.payload  # type: ignore[attr-defined]
        return payload.model_dump()


class ReadingBody(Entry):
    """A reading: ``value`` as typed, or in ``unit``. An odd one is asked about until it is ``confirmed``."""

    kind: Literal["reading"] = "reading"
    place: Place
    value: (
        Annotated[str, Field(min_length=1, max_length=60, pattern=SAID)]
        | Annotated[float, Field(allow_inf_nan=False)]
    )
    unit: Literal["", "V", "mV", "A", "mA", "ohm", "kohm", "Mohm", "%", "Hz", "kHz", "bar", "kPa"] = ""
    confirmed: bool = False


class Complaint(Strict):
    """How a load works, a stage holds or a unit answers."""

    load: Words
    works: Literal["yes", "weak", "no"]
    state: Free = ""


class Code(Strict):
    """A fault code of a unit; ``set``: false where it stays away."""

    module: Words
    failure: Words
    pin: Annotated[str, Field(max_length=60, pattern=TEXT)] | None = None
    set: bool = True
    state: Free = ""


class Event(Strict):
    """Something that was noticed at a place."""

    place: Words
    what: Words


class Why(Strict):
    """Why a test cannot be made."""

    why: Free = ""


class Said(Strict):
    """A remark."""

    text: Words


class Repair(Strict):
    """What was repaired."""

    what: Words
    part: Free = ""


class ComplaintBody(Entry):
    """How something works, as it is told or seen."""

    kind: Literal["complaint"]
    payload: Complaint


class CodeBody(Entry):
    """A fault code."""

    kind: Literal["code"]
    payload: Code


class EventBody(Entry):
    """Something noticed."""

    kind: Literal["event"]
    payload: Event


class CannotBody(Entry):
    """A test that cannot be made."""

    kind: Literal["cannot"]
    place: Place
    payload: Why = Field(default_factory=Why)

    @property
    def said(self) -> dict[str, Any]:
        return self.place.model_dump() | self.payload.model_dump()


class RemarkBody(Entry):
    """A note; ``reopened``: why the suspects are open again after a repair."""

    kind: Literal["note", "reopened"]
    payload: Said


class RepairBody(Entry):
    """The repair that was made."""

    kind: Literal["repair"]
    payload: Repair


EvidenceBody = ReadingBody | ComplaintBody | CodeBody | EventBody | CannotBody | RemarkBody | RepairBody
"""An entry of any kind, told apart by its ``kind``."""


class StrikeBody(Strict):
    """Why an entry is struck out."""

    reason: str = Field(min_length=1, max_length=2000, pattern=SAID)


class FileBody(Strict):
    """A file: its bytes in base64."""

    attachment_id: str = Field(default="", pattern=r"^[A-Za-z0-9_.:-]{0,60}$")
    name: str = Field(min_length=1, max_length=120, pattern=TEXT)
    data: str = Field(min_length=4, max_length=28_000_000, pattern=BASE64)
