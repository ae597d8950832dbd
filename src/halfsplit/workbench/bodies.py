"""What programs may send: strict bodies. What they get are the views of `halfsplit.job` as they are."""

from __future__ import annotations

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


class CircuitBody(Strict):
    """``based_on``: the version that was edited; None overwrites whatever is there (the earlier ones are kept)."""

    text: str = Field(max_length=jobs.LONGEST_CIRCUIT, pattern=TEXT)
    based_on: int | None = Field(default=None, ge=0, le=1_000_000)


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


class FileBody(Strict):
    """A file: its bytes in base64."""

    attachment_id: str = Field(default="", pattern=r"^[A-Za-z0-9_.:-]{0,60}$")
    name: str = Field(min_length=1, max_length=120, pattern=TEXT)
    data: str = Field(max_length=28_000_000, pattern="^[A-Za-z0-9+/=]*$")
