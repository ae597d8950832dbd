"""Which branch draws: the current at the battery, millivolts across fuses, and what they tell.

Entry `drain total` is a current at the battery that was read by hand, `drain fuse` a fuse with its millivolts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Part
from halfsplit.drain import INSTRUMENTS, BranchSearch, DrainAnalysis, Fuse, fuse_current
from halfsplit.drain.branches import BranchCurrent, Explained, NextFuse, Suspect
from halfsplit.drain.words import amps_words
from halfsplit.errors import InputError
from halfsplit.job.open_job import OpenJob
from halfsplit.job.views import shown_as


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


def checked_instrument(name: str) -> str:
    """The same name. Raises InputError where nothing of that name measures a drain."""
    if name not in INSTRUMENTS:
        raise InputError(
            f"{name[:20]!r} measures no drain", remedy=f"one of {', '.join(INSTRUMENTS)}", where="instrument"
        )
    return name


def save_total(job: OpenJob, amps: float, instrument: str) -> None:
    """Keep the current at the battery, read by hand while the vehicle slept (A). Raises InputError."""
    if not 0 < amps <= 50:
        raise InputError(
            f"{amps_words(amps)} asleep", remedy="enter what the battery loses, up to 50 A", where="total"
        )
    said = {
        "amps": amps,
        "instrument": checked_instrument(instrument),
        "text": f"Current at the battery asleep: {amps_words(amps)}, by {instrument}",
    }
    job.keep("drain total", said)


def _total(job: OpenJob, analysis: DrainAnalysis | None) -> tuple[float, float, str] | None:
    """Amps asleep, their error and where they come from: read by hand, else the level of the log."""
    said = job.last("drain total")
    if said:
        instrument = INSTRUMENTS[said["instrument"]]
        error = float((instrument.share * said["amps"]) ** 2 + instrument.offset**2) ** 0.5
        words = f"{amps_words(said['amps'])} at the battery, read by {instrument.name}"
        return float(said["amps"]), error, words
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
    rows: list[BranchRow] = []
    for fuse in fuses.values():
        said, current = entries.get(fuse.name), readings.get(fuse.name)
        row: BranchRow = shown_as(
            BranchRow,
            fuse,
            rating=f"{fuse.rating:g}",
            millivolts=f"{said['millivolts']:g}" if said and said["millivolts"] is not None else "",
            current=amps_words(current.amps) if current else "",
            span=f"{amps_words(max(current.low, 0.0))} to {amps_words(current.high)}" if current else "",
            how=current.how if current else "",
        )
        rows.append(row)
    if total is None or not fuses:
        return Branches(tuple(rows), total[2] if total else "", None, (), ())
    search = BranchSearch(tuple(fuses.values()), total[0], total[1], readings)
    explained, suspects = (search.explained(), search.suspects()) if readings else (None, ())
    return Branches(tuple(rows), total[2], explained, suspects, search.next_fuses())


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


if TYPE_CHECKING:
    import networkx as nx

ENDS = ("module", "ground", "battery", "generator")
"""Beside loads: where a branch ends. What lies behind is no feed any more."""


def fuses_of(circuit: Circuit) -> tuple[Fuse, ...]:
    """Every fuse with a rating, in the order of the file: its own units, and the fuses behind it."""
    parts = circuit.parts
    fuses = [part for part in parts.values() if part.is_fuse and part.values.get("A")]
    starts = [f"{part.name}.+" for part in circuit.model.of_kind("battery")]
    graph = _feeds(circuit, starts)
    everything = _reached(graph, starts, "")
    below = {fuse.name: everything - _reached(graph, starts, fuse.name) for fuse in fuses}
    lines = []
    for fuse in fuses:
        behind = [other.name for other in fuses if other.name in below[fuse.name] and other is not fuse]
        own = below[fuse.name] - {node for other in behind for node in below[other]}
        names = {node.partition(".")[0] for node in own}
        units = tuple(
            f"{name} {part.words}".strip()
            for name, part in parts.items()
            if name in names and (part.kind in LOADS or part.kind == "module")
        )
        lines.append(Fuse(fuse.name, fuse.values["A"], units, behind=tuple(behind)))
    return tuple(lines)


def _node(end: str, parts: Mapping[str, Part]) -> str:
    """A wire's end as a node: splices and fuses as one, the pins and cavities of all others apart."""
    point = end.partition(":")[0]
    name = point.partition(".")[0]
    part = parts.get(name)
    return name if part is None or part.is_fuse or part.kind == "splice" else point


def _feeds(circuit: Circuit, starts: Sequence[str]) -> nx.DiGraph:
    """What current can go on to from where; a branch ends at what it feeds."""
    import networkx as nx  # slow to import

    parts = circuit.parts
    pairs = [(_node(wire.a, parts), _node(wire.b, parts)) for wire in circuit.model.wires]
    # A relay feeds its contacts, whatever they are now: the coil is a branch of its own.
    relays = [name for name, part in parts.items() if part.kind == "relay"]
    pairs += [(f"{name}.30", f"{name}.{pin}") for name in relays for pin in ("87", "87a")]
    # A switch feeds what it can join, in whichever position it stands.
    pairs += [
        (f"{name}.{join.a}", f"{name}.{join.b}") for name, part in parts.items() for join in part.connections
    ]
    ends = {name for name, part in parts.items() if part.kind in LOADS or part.kind in ENDS}
    return nx.DiGraph(
        (a, b)
        for pair in pairs
        for a, b in (pair, pair[::-1])
        if a in starts or a.partition(".")[0] not in ends
    )


def _reached(graph: nx.DiGraph, starts: Sequence[str], without: str) -> set[str]:
    """The nodes that the battery reaches, with one fuse out."""
    import networkx as nx

    rest = graph.subgraph([node for node in graph if node.partition(".")[0] != without])
    return {*starts, *(node for start in starts if start in rest for node in nx.descendants(rest, start))}
