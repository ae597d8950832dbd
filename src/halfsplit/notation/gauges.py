"""Instruments fixed in the circuit: ``gauge`` lines → `Gauge`, each at a place that exists."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from halfsplit.circuit.model import Gauge, Part
from halfsplit.notation import syntax as s
from halfsplit.notation.scope import POINTS, Scope

CLOSING = ("relay", "fuse", "breaker")
"""What a gauge can tell to be closed."""
_PAIR = 2


def gauges_of(scope: Scope, parts: Mapping[str, Part]) -> Mapping[str, Gauge]:
    """The gauges in the order of the file."""
    return MappingProxyType({name: _gauge(scope, line, parts) for name, line in scope.gauges.items()})


def _gauge(scope: Scope, line: s.GaugeLine, parts: Mapping[str, Part]) -> Gauge:
    what, places = _places(scope, line, parts)
    scope.known(line.place, what, places)
    stage = scope.stages.get(line.place.text)
    unit = {"volts": "V", "amps": "A"}.get(line.quantity, "")
    if line.quantity == "stage" and stage is not None and stage.good is not None:
        unit = stage.good.unit
    return Gauge(
        line.name.text,
        line.quantity,
        line.place.text,
        scope.number(line.ratio, "", "the ratio of a gauge") or 1.0,
        scope.number(line.error, unit, "how near a gauge reads"),
        unit,
        line.words.text if line.words else "",
        line.at,
    )


def _places(scope: Scope, line: s.GaugeLine, parts: Mapping[str, Part]) -> tuple[str, list[str]]:
    """What such a gauge looks at, and all of these that the circuit has."""
    match line.quantity:
        case "volts":
            return "point", [*_points(parts)]
        case "amps":
            pairs = [
                part.name for part in parts.values() if len(part.pins) == _PAIR and part.kind != "switch"
            ]
            return "two-pin part or pin", [*pairs, *(point for point in _points(parts) if "." in point)]
        case "closed":
            return "relay, fuse or breaker", [part.name for part in parts.values() if part.kind in CLOSING]
        case "stage":
            return "stage", list(scope.stages)


def _points(parts: Mapping[str, Part]) -> Iterator[str]:
    """Where volts can be told, as a file names it."""
    for part in parts.values():
        if part.kind in POINTS:
            yield part.name
        yield from (f"{part.name}.{pin}" for pin in part.pins)
