"""A part of a harness: what lies within some joints of a plug, or what one configuration has."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from types import MappingProxyType

from halfsplit.circuit.problems import did_you_mean
from halfsplit.errors import InputError
from halfsplit.harness.data import Core, End, Harness

IN_LINE = 2
"""Cavities of a plug through which one goes on, as through a switch; one with more is an end."""


def near(harness: Harness, name: str, joints: int = 2) -> Harness:
    """All wires within so many joints of the connector of that name; a fuse in the way is no joint.

    Raises InputError where there is no such connector.
    """
    start = [end for end in _ends(harness) if harness.places[end.place].name == name]
    if not start:
        known = sorted({harness.places[end.place].name for end in _ends(harness)})
        hint = did_you_mean(name, known) or "name one of " + ", ".join(known[:12])
        raise InputError(
            f"there is no connector {name!r} with wires in this harness", remedy=hint.rstrip(" :")
        )
    wires: dict[End, list[Core]] = defaultdict(list)
    for core in harness.cores:
        for end in (core.a, core.b):
            wires[end].append(core)
    beyond = _beyond(harness, wires)
    distance = dict.fromkeys(start, 0)
    kept: dict[int, Core] = {}
    waiting = list(start)
    while waiting:
        end = waiting.pop(0)
        if distance[end] >= joints:
            continue
        for core in wires[end]:
            kept[id(core)] = core
            other = core.b if core.a == end else core.a
            for further, step in beyond(other):
                if distance[end] + step < distance.get(further, joints + 1):
                    distance[further] = distance[end] + step
                    waiting.append(further)
    return _only(harness, [core for core in harness.cores if id(core) in kept])


def _beyond(harness: Harness, ends: Iterable[End]) -> Callable[[End], list[tuple[End, int]]]:
    """Where current goes on from the end of a wire without crossing what is plugged in.

    The ends at which one may go on, each with the joints that it counts.
    """
    by_place: dict[str, list[End]] = defaultdict(list)
    for end in ends:
        by_place[end.place].append(end)
    fused = {
        End(seat.box, cavity): [End(seat.box, other) for other in seat.cavities if other != cavity]
        for seat in harness.seats
        if seat.kind == "fuse"
        for cavity in seat.cavities
    }
    pairs = [
        (End(key, at), mate) for key, place in harness.places.items() for at, mate in place.mates.items()
    ]
    mates = dict(pairs) | {mate: end for end, mate in pairs}

    def beyond(end: End) -> list[tuple[End, int]]:
        further = [(end, 1), *((other, 0) for other in fused.get(end, ()))]
        if end in mates:
            further.append((mates[end], 1))
        in_line = len(by_place[end.place]) == IN_LINE and end not in fused
        if in_line or harness.places[end.place].kind == "splice":
            further += [(other, 1) for other in by_place[end.place]]
        return further

    return beyond


def configured(harness: Harness, name: str) -> Harness:
    """Only what the configuration of that name has. Raises InputError where there is none, or nothing is left."""
    if name not in harness.configurations:
        known = ", ".join(harness.configurations) or "none"
        raise InputError(f"there is no configuration {name!r} in this harness", remedy=f"it has {known}")
    built = harness.configurations[name]
    cores = [core for core in harness.cores if core.keys & built]
    if not cores:
        raise InputError(f"the configuration {name!r} has no wires", remedy="leave it out, and take all")
    return replace(_only(harness, cores), partial=harness.partial)


def _only(harness: Harness, cores: list[Core]) -> Harness:
    """The harness with these wires. A place that has lost some of its cavities is marked as cut."""
    places = {end.place for core in cores for end in (core.a, core.b)}
    before, after = _cavities(harness.cores), _cavities(cores)
    partial = frozenset(
        key
        for key in places
        if before[key] != after[key]
        or (harness.places[key].kind == "splice" and _wires(key, harness.cores) != _wires(key, cores))
    )
    slots = frozenset(
        f"{seat.box}/{seat.name}"
        for seat in harness.seats
        if seat.box in places and (before[seat.box] - after[seat.box]) & set(seat.cavities)
    )
    kept = {}
    for key in filter(places.__contains__, harness.places):
        place = harness.places[key]
        mates = {cavity: mate for cavity, mate in place.mates.items() if mate.place in places}
        kept[key] = replace(place, mates=MappingProxyType(mates))
    return replace(
        harness,
        places=MappingProxyType(kept),
        cores=tuple(cores),
        seats=tuple(seat for seat in harness.seats if seat.box in places),
        partial=harness.partial | partial | slots,
    )


def _wires(key: str, cores: Iterable[Core]) -> int:
    return sum(key in (core.a.place, core.b.place) for core in cores)


def _cavities(cores: Iterable[Core]) -> dict[str, set[str]]:
    by_plug: dict[str, set[str]] = defaultdict(set)
    for core in cores:
        by_plug[core.a.place].add(core.a.cavity)
        by_plug[core.b.place].add(core.b.cavity)
    return by_plug


def _ends(harness: Harness) -> Iterator[End]:
    return iter(dict.fromkeys(end for core in harness.cores for end in (core.a, core.b)))
