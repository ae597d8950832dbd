"""A fault finding on the terminal: what is entered is told to a diagnosis and kept, in that order, before it counts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.cli.keep import KeepFile
from halfsplit.diagnosis.diagnosis import Diagnosis
from halfsplit.diagnosis.measurement import OVER_RANGE, Measurement, Reading
from halfsplit.diagnosis.propose import Test
from halfsplit.errors import HalfsplitError, NotFoundError
from halfsplit.job.entering import OVER_RANGE as OVER_RANGE_WORD
from halfsplit.job.places import from_json, to_json

USUAL = ("meter", "test lamp")


@dataclass(frozen=True)
class Settings:
    """What a job begins with."""

    instruments: tuple[str, ...] = USUAL
    intermittent: bool = False
    seed: int = 0

    def as_dict(self) -> dict[str, Any]:
        return {"instruments": list(self.instruments), "intermittent": self.intermittent, "seed": self.seed}

    @staticmethod
    def of(said: Mapping[str, Any]) -> Settings:
        """The settings that a keep-file or a script tells."""
        return Settings(
            tuple(said.get("instruments") or USUAL),
            bool(said.get("intermittent")),
            int(said.get("seed") or 0),
        )


@dataclass
class Session:
    """One job on one circuit.

    ``minutes``: of the tests made, as estimated before each. ``readings``: what each kept entry became, by its place in
    the keep-file; None where it is no reading.
    """

    circuit: Circuit
    settings: Settings
    keep: KeepFile | None = None
    minutes: float = 0.0
    diagnosis: Diagnosis = field(init=False)
    readings: list[Reading | None] = field(default_factory=list)

    def __post_init__(self) -> None:
        chosen = self.settings
        self.diagnosis = Diagnosis(
            self.circuit, chosen.instruments, intermittent=chosen.intermittent, seed=chosen.seed
        )

    def enter(self, kind: str, said: dict[str, Any]) -> Reading | None:
        """Tell the diagnosis, then keep the entry.

        What it cannot take raises HalfsplitError and is not kept; what cannot be kept does not count either.
        """
        told = HEARD[kind](self, said)
        try:
            if self.keep:
                self.keep.add({"kind": kind, "when": datetime.now(UTC).isoformat(timespec="seconds"), **said})
        except HalfsplitError:
            if told is not None:
                self.diagnosis.strike(told, why="it could not be kept")
            raise
        self._count(told, said)
        return told

    def replay(self, entries: Sequence[Mapping[str, Any]]) -> None:
        """Tell again what a keep-file holds."""
        for entry in entries:
            if entry.get("kind") not in HEARD:
                raise NotFoundError(
                    f"a kept entry is of the kind {entry.get('kind')!r}, which this version does not know"
                )
            self._count(HEARD[entry["kind"]](self, entry), entry)

    def _count(self, told: Reading | None, said: Mapping[str, Any]) -> None:
        self.readings.append(told)
        self.minutes += float(said.get("minutes") or 0.0)

    @property
    def net_volts(self) -> float:
        """12 or 24, by the battery."""
        battery = next(iter(self.circuit.model.of_kind("battery")), None)
        return 24.0 if battery is not None and battery.values.get("V", 12.6) > 18 else 12.0

    # The entries, by kind

    def complain(self, load: str, works: str, state: str) -> None:
        """A load that does not work as it should, or one that is seen to work."""
        self.enter("complaint", {"load": load, "works": works, "state": state})

    def record(
        self,
        measurement: Measurement,
        value: float | str,
        *,
        minutes: float = 0.0,
        present: str | None = None,
        typed: str = "",
    ) -> Reading:
        """A reading that was asked about where it was odd: it stands."""
        kept = OVER_RANGE_WORD if value == OVER_RANGE else value
        said = {
            **to_json(measurement),
            "value": kept,
            "minutes": round(minutes, 2),
            "present": present,
            "typed": typed,
        }
        reading = self.enter("reading", said)
        assert reading is not None  # noqa: S101 - a reading gives a reading
        return reading

    def cannot(self, measurement: Measurement, why: str) -> None:
        self.enter("cannot", {**to_json(measurement), "why": why})

    def event(self, place: str, what: str) -> None:
        self.enter("event", {"place": place, "what": what})

    def earlier_work(self, places: Sequence[str], *, began_then: bool) -> None:
        self.enter("earlier work", {"places": list(places), "began_then": began_then})

    def strike(self, reading: Reading, why: str) -> None:
        number = next(
            place for place, one in enumerate(self.readings) if one is not None and one.id == reading.id
        )
        self.enter("strike", {"entry": number, "why": why})

    def last_reading(self) -> Reading | None:
        """The last reading that counts."""
        live = [one for one in self.diagnosis.readings if one.struck is None and one.source == "reading"]
        return live[-1] if live else None


def _complaint(session: Session, said: Mapping[str, Any]) -> Reading:
    if said["load"] in session.diagnosis.circuit.model.stages:
        return session.diagnosis.observe(
            said["load"], stage=said["works"], state=said["state"] or None, present="yes"
        )[0]
    return session.diagnosis.complain(said["load"], works=said["works"], state=said["state"] or None)


def _reading(session: Session, said: Mapping[str, Any]) -> Reading:
    place = from_json(said)
    value = OVER_RANGE if said["value"] == OVER_RANGE_WORD else said["value"]
    return session.diagnosis.measure(
        place.quantity,
        place.at,
        to=place.to,
        state=place.state or None,
        value=value,
        instrument=place.instrument,
        changes=place.changes,
        detail=place.detail,
        sure=True,
        present=said.get("present"),
    )


def _cannot(session: Session, said: Mapping[str, Any]) -> None:
    unwanted = Test(from_json(said), 0.0, 0.0, 0.0, (), (), "")
    session.diagnosis.cannot(unwanted, why=str(said.get("why", "")))


def _code(session: Session, said: Mapping[str, Any]) -> Reading:
    return session.diagnosis.code(
        said["unit"], said["failure"], pin=said.get("pin"), is_set=said.get("set", True)
    )


def _strike(session: Session, said: Mapping[str, Any]) -> None:
    reading = dict(enumerate(session.readings)).get(said["entry"])
    if reading is None:
        raise NotFoundError(f"entry {said['entry']!r} is no reading, so it cannot be struck out")
    session.diagnosis.strike(reading, why=said["why"])


def _event(session: Session, said: Mapping[str, Any]) -> Reading:
    return session.diagnosis.event(said["place"], said["what"])


def _earlier_work(session: Session, said: Mapping[str, Any]) -> None:
    session.diagnosis.earlier_work(said["places"], began_then=said["began_then"])


HEARD: Mapping[str, Callable[[Session, Mapping[str, Any]], Reading | None]] = {
    "complaint": _complaint,
    "reading": _reading,
    "cannot": _cannot,
    "code": _code,
    "strike": _strike,
    "event": _event,
    "earlier work": _earlier_work,
}
"""Kind of entry → how a diagnosis is told."""
