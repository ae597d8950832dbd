"""Statements about the whole: states, stages, reach, suspicion, terminators, gauges."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from types import MappingProxyType

from halfsplit.circuit.model import (
    AS_DRAWN,
    Gauge,
    Part,
    Reach,
    Stage,
    StageFailure,
    StandIn,
    State,
    Suspicion,
    Terminator,
)
from halfsplit.notation import syntax as s
from halfsplit.notation.parts import check_position
from halfsplit.notation.paths import split
from halfsplit.notation.scope import ANY, NOT_NEGATIVE, POINTS, SHARE, Scope
from halfsplit.notation.syntax import Word

_PAIR = 2

# states


def states_of(scope: Scope, parts: Mapping[str, Part]) -> Mapping[str, State]:
    """The states in the order of the file; without any, the one "as drawn"."""
    states = {name: _state(scope, line, parts) for name, line in scope.states.items()}
    return MappingProxyType(states or {AS_DRAWN.name: AS_DRAWN})


def _state(scope: Scope, line: s.StateLine, parts: Mapping[str, Part]) -> State:
    items = _Items({}, set(), {})
    seen: set[str] = set()
    for name, value in line.settings:
        if name.text in seen:
            scope.collector.add("set-twice", name.at, name=name.text)
        seen.add(name.text)
        part = parts.get(name.text)
        if part is not None:
            _set(scope, items, part, name, value)
        else:
            settable = [
                part.name for part in parts.values() if part.kind in ("switch", "generator", "sensor")
            ]
            scope.known(name, "switch, generator or sensor", settable)
    times = scope.once(line.times)
    lasts, takes = (_minutes(scope, times, word) for word in ("lasts", "takes"))
    switches, values = MappingProxyType(items.switches), MappingProxyType(items.values)
    return State(
        line.name.text, switches, frozenset(items.running), values, lasts, takes, line.helper, line.at
    )


@dataclass(slots=True)
class _Items:
    switches: dict[str, str]
    running: set[str]
    values: dict[str, float]


def _set(scope: Scope, items: _Items, part: Part, name: Word, value: Word | s.Amount) -> None:
    """One item of a state, by the kind of its part."""
    if part.kind == "switch":
        known = check_position(scope, part.name, value, part.settings)
        if known and value.text != part.settings[0]:
            items.switches[part.name] = value.text
    elif part.kind == "generator":
        items.running.add(part.name)
        if value.text != "running":
            scope.collector.add("not-running", value.at, name=part.name, found=value.text)
    elif part.kind == "sensor":
        number = _sensor(scope, part, value)
        if number is not None:
            items.values[part.name] = number
    else:
        scope.collector.add("not-settable", name.at, name=part.name, kind=part.kind)


def _minutes(scope: Scope, table: Mapping[str, s.Given | s.Said], word: str) -> float | None:
    item = table.get(word)
    return scope.number(item.amount, "min", "a time", NOT_NEGATIVE) if isinstance(item, s.Given) else None


def _sensor(scope: Scope, part: Part, value: Word | s.Amount) -> float | None:
    """Ohms of a sensor with two pins, the share of its supply for one with three."""
    share = len(part.pins) > _PAIR
    if not isinstance(value, s.Amount) or value.unit != ("" if share else "ohm"):
        meant = f"the share of its supply: {part.name} 0.4" if share else f"ohms: {part.name} 300 ohm"
        scope.collector.add("sensor-value", value.at, name=part.name, found=value.text, meant=meant)
        return None
    return (
        scope.number(value, value.unit, "what a sensor has")
        if not share
        else scope.number(value, "", "a share of the supply", SHARE)
    )


# stages


def stages_of(scope: Scope, parts: Mapping[str, Part]) -> Mapping[str, Stage]:
    """The stages in the order of the file; what they need exists, and no loop is among them."""
    names = {**parts, **scope.stages}
    stages = {name: _stage(scope, line, names) for name, line in scope.stages.items()}
    try:
        TopologicalSorter(
            {name: [need for need in stage.needs if need in stages] for name, stage in stages.items()}
        ).prepare()
    except CycleError as error:
        loop = list(reversed(error.args[1]))
        first = min(loop[:-1], key=list(stages).index)
        start = loop.index(first)
        turned = [*loop[start:-1], *loop[:start], first]
        scope.collector.add("stage-loop", stages[first].at, loop=" needs ".join(turned))
    return MappingProxyType(stages)


def _stage(scope: Scope, line: s.StageLine, names: Collection[str]) -> Stage:
    name = line.name.text
    good, bad = (
        scope.number(amount, amount.unit, "what a stage reads", ANY) if amount else None
        for amount in (line.good, line.bad)
    )
    if line.good is not None and line.bad is not None:
        _check_numbers(scope, line, line.good, line.bad)
    needs = [word for under in line.under if isinstance(under, s.NeedsLine) for word in under.names]
    known = [word.text for word in needs if scope.known(word, "part or stage", names)]
    words = [
        *line.states,
        *(word for under in line.under if isinstance(under, s.WithinLine) for word in under.states),
    ]
    return Stage(
        name,
        line.words.text if line.words else "",
        good,
        bad,
        line.good.unit if line.good else "",
        tuple(dict.fromkeys(known)),
        _failures(scope, line),
        _stand_in(scope, line),
        tuple(dict.fromkeys(word.text for word in words if scope.known_state(word))),
        line.at,
    )


def _check_numbers(scope: Scope, line: s.StageLine, good: s.Amount, bad: s.Amount) -> None:
    if good.unit != bad.unit:
        scope.collector.add(
            "unit-differs",
            bad.at,
            name=line.name.text,
            good=good.unit or "no unit",
            bad=bad.unit or "no unit",
        )
    elif good.value == bad.value:
        scope.collector.add("same-numbers", bad.at, name=line.name.text, value=good.text)


def _failures(scope: Scope, line: s.StageLine) -> tuple[StageFailure, ...]:
    failures: dict[str, StageFailure] = {}
    for under in line.under:
        if not isinstance(under, s.FailsLine):
            continue
        if under.words.text in failures:
            scope.collector.add("failure-twice", under.words.at, name=line.name.text, words=under.words.text)
        factor = scope.number(under.factor, "", "the weight of a failure")
        failures[under.words.text] = StageFailure(under.words.text, 1.0 if factor is None else factor)
    return tuple(failures.values())


def _stand_in(scope: Scope, line: s.StageLine) -> StandIn | None:
    lines = [under for under in line.under if isinstance(under, s.StandInLine)]
    for under in lines[1:]:
        scope.collector.add("value-twice", under.at, what='"stand-in"')
    if not lines:
        return None
    minutes = scope.number(lines[0].minutes, "min", "a time", NOT_NEGATIVE)
    return StandIn(lines[0].words.text, minutes, lines[0].caution.text if lines[0].caution else "")


# reach, suspicion, terminators


def reaches_of(scope: Scope, lines: Sequence[s.ReachLine], parts: Mapping[str, Part]) -> Mapping[str, Reach]:
    """Minutes by the name of a part."""
    reaches: dict[str, Reach] = {}
    for line in lines:
        name = line.name.text
        if not scope.known(line.name, "part", parts):
            continue
        if name in reaches:
            scope.collector.add("reach-twice", line.name.at, name=name, line=reaches[name].at.line)
        minutes = scope.number(line.minutes, "min", "a time", NOT_NEGATIVE)
        reaches[name] = Reach(name, minutes or 0.0, line.words.text if line.words else "", line.at)
    return MappingProxyType(reaches)


def suspicions_of(
    scope: Scope, lines: Sequence[s.SuspectLine], parts: Mapping[str, Part]
) -> tuple[Suspicion, ...]:
    """Suspicions of parts, pins and cavities that exist."""
    suspicions = []
    for line in lines:
        factor = scope.number(line.factor, "", "the factor of a suspicion")
        if _can_be_suspected(scope, line.name, parts) and factor is not None:
            suspicions.append(
                Suspicion(line.name.text, factor, line.words.text if line.words else "", line.at)
            )
    return tuple(suspicions)


def _can_be_suspected(scope: Scope, word: Word, parts: Mapping[str, Part]) -> bool:
    name, pin, side = split(word)
    if not scope.known(name, "part", parts):
        return False
    pins = parts[name.text].pins
    if pin and pin not in pins:
        scope.collector.add(
            "no-pin",
            word.at,
            name=name.text,
            pins=" ".join(pins) or "of its own",
            pin=pin,
            near=scope.collector.near(pin, pins),
        )
    if side:
        scope.collector.add("no-side", word.at, point=word.text, pin=f"{name.text}.{pin}")
    return True


def terminators_of(scope: Scope, lines: Sequence[s.TerminatorLine]) -> tuple[Terminator, ...]:
    """Terminators, each at a module and on a bus of two lines that it talks on."""
    made = [_terminator(scope, line) for line in lines if scope.known_module(line.part)]
    return tuple(terminator for terminator in made if terminator)


def _terminator(scope: Scope, line: s.TerminatorLine) -> Terminator | None:
    name = line.part.text
    ohms = scope.number(line.ohms, "ohm", "a terminator")
    buses = [bus for bus, members in scope.buses.items() if members.get(name) == _PAIR]
    if line.bus is None and len(buses) > 1:
        scope.collector.add("which-bus", line.part.at, name=name, buses=" and ".join(buses), first=buses[0])
        return None
    bus = line.bus.text if line.bus else (buses or [""])[0]
    if bus not in buses:
        if name not in scope.unread:
            at = line.bus.at if line.bus else line.part.at
            scope.collector.add(
                "not-talking", at, name=name, bus=f"on {bus}" if bus else "on any bus with two lines"
            )
        return None
    return Terminator(ohms or 0.0, name, bus, line.at)


# gauges

CLOSING = ("relay", "fuse", "breaker")
"""What a gauge can tell to be closed."""


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
