"""Statements about the whole: states, stages, reach, suspicion, terminators, gauges."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from types import MappingProxyType

from halfsplit.circuit import model as m
from halfsplit.notation import syntax as s
from halfsplit.notation.parts import check_position
from halfsplit.notation.paths import split
from halfsplit.notation.scope import ANY, NOT_NEGATIVE, POINTS, POSITIVE, SHARE, Scope, again, amount_of
from halfsplit.notation.syntax import Word, only, words_of

_PAIR = 2

# states


def states_of(scope: Scope, parts: Mapping[str, m.Part]) -> Mapping[str, m.State]:
    """The states in the order of the file; without any, the one "as drawn"."""
    settable = [part.name for part in parts.values() if part.kind in ("switch", "generator", "sensor")]
    states = {}
    for state, line in scope.states.items():
        items = _Items({}, set(), {})
        for name in again(name for name, _ in line.settings):
            scope.collector.add("set-twice", name.at, name=name.text)
        for name, value in line.settings:
            part = parts.get(name.text)
            if part is not None:
                _set(scope, items, part, name, value)
            else:
                scope.known(name, "switch, generator or sensor", settable)
        times = scope.once(line.times)
        lasts, takes = (
            scope.number(amount_of(times, word), "min", "a time", NOT_NEGATIVE) for word in ("lasts", "takes")
        )
        switches, values = MappingProxyType(items.switches), MappingProxyType(items.values)
        states[state] = m.State(
            line.name.text, switches, frozenset(items.running), values, lasts, takes, line.helper, line.at
        )
    return states or {m.AS_DRAWN.name: m.AS_DRAWN}


@dataclass(slots=True)
class _Items:
    switches: dict[str, str]
    running: set[str]
    values: dict[str, float]


def _set(scope: Scope, items: _Items, part: m.Part, name: Word, value: Word | s.Amount) -> None:
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
        # Ohms of a sensor with two pins, the share of its supply for one with three.
        share = len(part.pins) > _PAIR
        unit, what, limits = (
            ("", "a share of the supply", SHARE) if share else ("ohm", "what a sensor has", POSITIVE)
        )
        if not isinstance(value, s.Amount) or value.unit != unit:
            meant = f"the share of its supply: {part.name} 0.4" if share else f"ohms: {part.name} 300 ohm"
            scope.collector.add("sensor-value", value.at, name=part.name, found=value.text, meant=meant)
        elif (number := scope.number(value, unit, what, limits)) is not None:
            items.values[part.name] = number
    else:
        scope.collector.add("not-settable", name.at, name=part.name, kind=part.kind)


# stages


def stages_of(scope: Scope, parts: Mapping[str, m.Part]) -> Mapping[str, m.Stage]:
    """The stages in the order of the file; what they need exists, and no loop is among them."""
    names = {**parts, **scope.stages}
    stages = {name: _stage(scope, line, names) for name, line in scope.stages.items()}
    try:
        TopologicalSorter(
            {name: [need for need in stage.needs if need in stages] for name, stage in stages.items()}
        ).prepare()
    except CycleError as error:
        loop = list(reversed(error.args[1]))[:-1]
        first = min(loop, key=list(stages).index)
        start = loop.index(first)
        shown = " needs ".join([*loop[start:], *loop[:start], first])
        scope.collector.add("stage-loop", stages[first].at, loop=shown)
    return stages


def _stage(scope: Scope, line: s.StageLine, names: Collection[str]) -> m.Stage:
    name = line.name.text
    good, bad = (
        scope.number(amount, amount.unit, "what a stage reads", ANY) if amount else None
        for amount in (line.good, line.bad)
    )
    if line.good is not None and line.bad is not None:
        _check_numbers(scope, line, line.good, line.bad)
    needs = words_of(line.under, "needs")
    known = [word.text for word in needs if scope.known(word, "part or stage", names)]
    failures = _failures(scope, line)
    stand_in = None
    for under in scope.sole(only(line.under, s.StandInLine), '"stand-in"')[:1]:
        minutes = scope.number(under.minutes, "min", "a time", NOT_NEGATIVE)
        stand_in = m.StandIn(under.words.text, minutes, under.caution.text if under.caution else "")
    words = [*line.states, *words_of(line.under, "within")]
    return m.Stage(
        name,
        line.words.text if line.words else "",
        good,
        bad,
        line.good.unit if line.good else "",
        tuple(dict.fromkeys(known)),
        failures,
        stand_in,
        tuple(dict.fromkeys(word.text for word in words if scope.known_state(word))),
        line.at,
    )


def _check_numbers(scope: Scope, line: s.StageLine, good: s.Amount, bad: s.Amount) -> None:
    name = line.name.text
    if good.unit != bad.unit:
        units = {"good": good.unit or "no unit", "bad": bad.unit or "no unit"}
        scope.collector.add("unit-differs", bad.at, name=name, **units)
    elif good.value == bad.value:
        scope.collector.add("same-numbers", bad.at, name=name, value=good.text)


def _failures(scope: Scope, line: s.StageLine) -> tuple[m.StageFailure, ...]:
    fails = only(line.under, s.FailsLine)
    for words in again(under.words for under in fails):
        scope.collector.add("failure-twice", words.at, name=line.name.text, words=words.text)
    failures = {}
    for under in fails:
        factor = scope.number(under.factor, "", "the weight of a failure")
        failures[under.words.text] = m.StageFailure(under.words.text, 1.0 if factor is None else factor)
    return tuple(failures.values())


# reach, suspicion, terminators


def reaches_of(
    scope: Scope, lines: Sequence[s.ReachLine], parts: Mapping[str, m.Part]
) -> Mapping[str, m.Reach]:
    """Minutes by the name of a part."""
    reaches: dict[str, m.Reach] = {}
    for line in lines:
        name = line.name.text
        if not scope.known(line.name, "part", parts):
            continue
        if name in reaches:
            scope.collector.add("reach-twice", line.name.at, name=name, line=reaches[name].at.line)
        minutes = scope.number(line.minutes, "min", "a time", NOT_NEGATIVE)
        reaches[name] = m.Reach(name, minutes or 0.0, line.words.text if line.words else "", line.at)
    return reaches


def suspicions_of(
    scope: Scope, lines: Sequence[s.SuspectLine], parts: Mapping[str, m.Part]
) -> tuple[m.Suspicion, ...]:
    """Suspicions of parts, pins and cavities that exist."""
    suspicions = []
    for line in lines:
        factor = scope.number(line.factor, "", "the factor of a suspicion")
        name, pin, side = split(line.name)
        if not scope.known(name, "part", parts):
            continue
        if pin and pin not in parts[name.text].pins:
            scope.no_pin(line.name, name.text, pin)
        if side:
            scope.collector.add("no-side", line.name.at, point=line.name.text, pin=f"{name.text}.{pin}")
        if factor is not None:
            words = line.words.text if line.words else ""
            suspicions.append(m.Suspicion(line.name.text, factor, words, line.at))
    return tuple(suspicions)


def terminators_of(scope: Scope, lines: Sequence[s.TerminatorLine]) -> tuple[m.Terminator, ...]:
    """Terminators, each at a module and on a bus of two lines that it talks on."""
    terminators = []
    for line in lines:
        if not scope.known_module(line.part):
            continue
        name = line.part.text
        ohms = scope.number(line.ohms, "ohm", "a terminator")
        buses = [bus for bus, members in scope.buses.items() if members.get(name) == _PAIR]
        bus = line.bus.text if line.bus else (buses or [""])[0]
        if line.bus is None and len(buses) > 1:
            shown = " and ".join(buses)
            scope.collector.add("which-bus", line.part.at, name=name, buses=shown, first=buses[0])
        elif bus in buses:
            terminators.append(m.Terminator(ohms or 0.0, name, bus, line.at))
        elif name not in scope.unread:
            at, shown = (line.bus or line.part).at, f"on {bus}" if bus else "on any bus with two lines"
            scope.collector.add("not-talking", at, name=name, bus=shown)
    return tuple(terminators)


# gauges

CLOSING = ("relay", "fuse", "breaker")
"""What a gauge can tell to be closed."""


def gauges_of(scope: Scope, parts: Mapping[str, m.Part]) -> Mapping[str, m.Gauge]:
    """The gauges in the order of the file."""
    gauges = {}
    for name, line in scope.gauges.items():
        scope.known(line.place, *_places(scope, line, parts))
        stage = scope.stages.get(line.place.text)
        unit = {"volts": "V", "amps": "A"}.get(line.quantity, "")
        if line.quantity == "stage" and stage is not None and stage.good is not None:
            unit = stage.good.unit
        gauges[name] = m.Gauge(
            name,
            line.quantity,
            line.place.text,
            scope.number(line.ratio, "", "the ratio of a gauge") or 1.0,
            scope.number(line.error, unit, "how near a gauge reads"),
            unit,
            line.words.text if line.words else "",
            line.at,
        )
    return gauges


def _places(scope: Scope, line: s.GaugeLine, parts: Mapping[str, m.Part]) -> tuple[str, list[str]]:
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


def _points(parts: Mapping[str, m.Part]) -> Iterator[str]:
    """Where volts can be told, as a file names it."""
    for part in parts.values():
        if part.kind in POINTS:
            yield part.name
        yield from (f"{part.name}.{pin}" for pin in part.pins)
