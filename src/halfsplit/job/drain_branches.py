"""Which branch draws: the current at the battery, millivolts across fuses, and what they tell.

Entry `drain total` is a current at the battery that was read by hand, `drain fuse` a fuse with its millivolts.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from halfsplit.drain import INSTRUMENTS, BranchSearch, DrainAnalysis, Fuse, fuse_current
from halfsplit.drain.branches import BranchCurrent, Explained, NextFuse, Suspect
from halfsplit.drain.words import amps_words
from halfsplit.errors import InputError
from halfsplit.job.drain_fuses import fuses_of
from halfsplit.job.open_job import OpenJob


@dataclass(frozen=True)
class BranchRow:
    """A fuse of the table. ``millivolts``: as read, '' where not yet; ``current`` and its ``span`` in words."""

    name: str
    rating: str
    units: tuple[str, ...]
    behind: tuple[str, ...]
    millivolts: str
    current: str
    span: str
    how: str


@dataclass(frozen=True)
class Branches:
    """The search for the branch. ``total``: amps asleep and where they come from, in words; '' where unknown."""

    rows: tuple[BranchRow, ...]
    total: str
    explained: Explained | None
    suspects: tuple[Suspect, ...]
    following: tuple[NextFuse, ...]


def save_total(job: OpenJob, amps: float, instrument: str) -> None:
    """Keep the current at the battery, read by hand while the vehicle slept (A). Raises InputError."""
    if not 0 < amps <= 50:
        raise InputError(
            f"{amps_words(amps)} asleep", remedy="enter what the battery loses, up to 50 A", where="total"
        )
    if instrument not in INSTRUMENTS:
        raise InputError(
            f"{instrument[:20]!r} measures no drain",
            remedy=f"one of {', '.join(INSTRUMENTS)}",
            where="instrument",
        )
    said = {
        "amps": amps,
        "instrument": instrument,
        "text": f"Current at the battery asleep: {amps_words(amps)}, by {instrument}",
    }
    job.keep("drain total", said)


def _total(job: OpenJob, analysis: DrainAnalysis | None) -> tuple[float, float, str] | None:
    """Amps asleep, their error and where they come from: read by hand, else the level of the log."""
    said = job.last("drain total")
    if said:
        instrument = INSTRUMENTS[said["instrument"]]
        error = float((instrument.share * said["amps"]) ** 2 + instrument.offset**2) ** 0.5
        return (
            float(said["amps"]),
            error,
            f"{amps_words(said['amps'])} at the battery, read by {instrument.name}",
        )
    if analysis is None or analysis.level is None or analysis.level <= 0 or not analysis.can_tell:
        return None
    return analysis.level, analysis.level_error, f"{amps_words(analysis.level)} asleep, from the log"


def save_fuse(job: OpenJob, name: str, rating: float, millivolts: float | None, *, units: str = "") -> None:
    """Keep a fuse, with the millivolts across it where they were read. Raises InputError where they cannot be."""
    if not name.strip() or len(name) > 60:
        raise InputError("which fuse?", remedy="its number, as on the cover of the fuse box", where="name")
    current = fuse_current(0.0 if millivolts is None else millivolts, rating)
    read = "" if millivolts is None else f": {millivolts:g} mV, {amps_words(current.amps)}"
    said = {
        "fuse": name.strip(),
        "rating": rating,
        "millivolts": millivolts,
        "units": units.strip()[:300],
        "text": f"Fuse {name.strip()}, {rating:g} A{read}",
    }
    job.keep("drain fuse", said)


def branches_of(job: OpenJob, analysis: DrainAnalysis | None) -> Branches:
    """The table of the fuses, the share explained, the suspects by branch, and the next fuse to measure."""
    fuses, readings, entries = _fuses(job)
    total = _total(job, analysis)
    rows = tuple(_row(fuse, entries.get(fuse.name), readings.get(fuse.name)) for fuse in fuses.values())
    if total is None or not fuses:
        return Branches(rows, total[2] if total else "", None, (), ())
    search = BranchSearch(tuple(fuses.values()), total[0], total[1], readings)
    return Branches(
        rows,
        total[2],
        search.explained() if readings else None,
        search.suspects() if readings else (),
        search.next_fuses(),
    )


def _fuses(job: OpenJob) -> tuple[dict[str, Fuse], dict[str, BranchCurrent], dict[str, dict[str, Any]]]:
    """Fuses by name (of the circuit, then those entered), their currents, and their latest readings."""
    circuit = job.circuit
    fuses = {fuse.name: fuse for fuse in fuses_of(circuit)} if circuit is not None else {}
    entries: dict[str, dict[str, Any]] = {}
    for entry in job.live("drain fuse"):
        said = dict(entry.payload)
        if said["millivolts"] is None and said["fuse"] in entries:
            said["millivolts"] = entries[said["fuse"]]["millivolts"]
        entries[said["fuse"]] = said
    for name, said in entries.items():
        own = tuple(part.strip() for part in str(said.get("units") or "").split(",") if part.strip())
        before = fuses.get(name, Fuse(name, float(said["rating"])))
        fuses[name] = replace(before, rating=float(said["rating"]), units=own or before.units)
    readings = {
        name: fuse_current(float(said["millivolts"]), float(said["rating"]))
        for name, said in entries.items()
        if said["millivolts"] is not None
    }
    return fuses, readings, entries


def _row(fuse: Fuse, said: Mapping[str, Any] | None, current: BranchCurrent | None) -> BranchRow:
    words = "" if current is None else amps_words(current.amps)
    span = "" if current is None else f"{amps_words(max(current.low, 0.0))} to {amps_words(current.high)}"
    return BranchRow(
        fuse.name,
        f"{fuse.rating:g}",
        fuse.units,
        fuse.behind,
        f"{said['millivolts']:g}" if said and said["millivolts"] is not None else "",
        words,
        span,
        current.how if current else "",
    )
