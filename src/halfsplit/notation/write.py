"""Model → text. Reading the text gives the same model again; comments and includes are not in a model."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import groupby

from halfsplit.circuit import model as m
from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.naming import part_of
from halfsplit.notation.amounts import written
from halfsplit.notation.words import without_comment

_WIDE = 34
"""So wide at most is the column of names and values; what is longer sticks out."""

_INDENT = "  "


def write(model: m.Model) -> str:
    """The circuit file of a model, in the order of its contents.

    A path that no file could have given (wires of one `Wire.path` that do not follow each other) becomes several.
    """
    heads = [(part, _head(part)) for part in model.parts.values() if part.declared]
    width = min(_WIDE, max((len(head) for _, head in heads), default=0))
    lines = []
    for part, head in heads:
        place = f"at {quoted(part.place)}" if part.place else ""
        lines.append(_wide(head.ljust(width), _words(part.words), place).rstrip())
        lines += [_INDENT + line for line in _under(part) if line]
    title, states = model.title, list(model.states.values())
    plain = title == without_comment(title.strip()) and not re.fullmatch(r'"[^"]*"|[^"]*"[^"]*', title)
    sections = [
        [f"title  {title if plain else quoted(title)}"] if title else [],
        lines,
        list(_paths(model)),
        [_state(model, state) for state in states] if states != [m.AS_DRAWN] else [],
        [line for stage in model.stages.values() for line in _stage(stage)],
        list(_rest(model)),
    ]
    return "\n\n".join("\n".join(section) for section in sections if section) + "\n"


def quoted(text: str) -> str:
    """Text in quotation marks; it cannot hold one, nor a line break."""
    return '"' + " ".join(text.replace('"', "'").splitlines()) + '"'


def _spaced(*words: str) -> str:
    """What there is of these words."""
    return " ".join(filter(None, words))


def _wide(*words: str) -> str:
    return "  ".join(filter(None, words))


def _words(words: str) -> str:
    return quoted(words) if words else ""


def _given(before: str, value: float | None, unit: str = "", after: str = "") -> str:
    """An amount under its word; '' for none."""
    return "" if value is None else _spaced(before, written(value, unit), after)


# parts


def _head(part: m.Part) -> str:
    values = []
    for unit in KINDS[part.kind].units:
        if unit in ("pulls", "drops"):
            values.append(_given(unit, part.values.get(unit), "V"))
        else:
            values.append(_given("", part.values.get(unit), "" if unit == "share" else unit))
    on = f"on {part.mass}" if part.mass != m.BODY else ""
    return _spaced(f"{part.kind:<9}", part.name, *part.positions, *values, on)


def _under(part: m.Part) -> Iterator[str]:
    """The lines under a part and of its module's behaviour, '' for one that it does not have."""
    yield from (f"kind {tag}" for tag in part.tags)
    yield from (f"joins {join.position} {join.a} {join.b}" for join in part.joins)
    yield from ["drifts"] * part.drifts
    if part.park:
        yield f"parks {' '.join(part.park)}"
    behaviour = part.behaviour
    if behaviour is None:
        return
    yield from (f"feed {' or '.join(group)}" for group in behaviour.feeds)
    yield from (f"earth {pin}" for pin in behaviour.earths)
    yield _given("draws", behaviour.draws, "A")
    yield _given("works over", behaviour.works_over, "V")
    for port in behaviour.inputs:
        name = f"as {port.name}" if port.name else ""
        pull = _given(f"pulled {port.pull}", port.ohms, "ohm") if port.pull else ""
        low, high = _given("low under", port.low_under, "V"), _given("high over", port.high_over, "V")
        yield _spaced(f"reads {port.pin}", name, pull, low, high)
    yield from map(_driver, behaviour.drivers)
    for supply in behaviour.supplies:
        yield _spaced(
            f"supplies {supply.pin} {written(supply.volts, 'V')}", _given("limit", supply.limit, "A")
        )
    yield from (f"talks on {talk.bus} at {_spaced(talk.high, talk.low or '')}" for talk in behaviour.talks)
    yield from (f"clamp {pin}" for pin in behaviour.clamps)
    if behaviour.sleep:
        yield f"sleeps {written(behaviour.sleep.amps, 'A')} after {written(behaviour.sleep.after, 'min')}"
        yield f"wakes when {_condition(behaviour.sleep.wakes)}" if behaviour.sleep.wakes else ""


def _driver(driver: m.Driver) -> str:
    until = "" if driver.latches == "power" else f"until {quoted(driver.latches or '')}"
    return _spaced(
        f"drives {driver.pin} {driver.side}",
        _given("", driver.ohms, "ohm"),
        _given("limit", driver.limit, "A"),
        _spaced("latches off", until) if driver.latches is not None else "",
        _given("bias", driver.bias, "ohm", "when off"),
        _given("pwm", driver.duty, "", _given("", driver.hertz or None, "Hz")),
        f"when {_condition(driver.when)}",
    )


def _condition(condition: m.Condition) -> str:
    match condition:
        case m.Always():
            return "always"
        case m.PinIs(pin, level):
            return f"{pin} is {level}"
        case m.InState(state):
            return quoted(state)
        case m.Hears(listener, speaker):
            return f"{listener} hears {speaker}"
        case m.Not(term):
            return f"not {_inner(term)}"
        case m.And(terms):
            return " and ".join(map(_inner, terms))
        case m.Or(terms):
            return " or ".join(map(_inner, terms))


def _inner(condition: m.Condition) -> str:
    """A term of another: in parentheses where it is made of several itself."""
    text = _condition(condition)
    return f"({text})" if isinstance(condition, m.And | m.Or) else text


# paths


def _paths(model: m.Model) -> Iterator[str]:
    """The paths; one in which a wire does not start where the last one ended is several."""
    for variant, group in groupby(model.wires, key=lambda wire: wire.variant):
        if variant:
            yield f"variant {variant}"
        indent = _INDENT if variant else ""
        for _, path in groupby(group, key=lambda wire: wire.path):
            first, *wires = path
            text, end = _start(first.a) + _link(first), first.b
            for wire in wires:
                stop = _stop(model, end, wire.a)
                if stop is None:
                    yield indent + text + _end(end)
                text = (_start(wire.a) if stop is None else text + stop) + _link(wire)
                end = wire.b
            yield indent + text + _end(end)


def _start(point: str) -> str:
    return point.removesuffix(":out")


def _end(point: str) -> str:
    return point.removesuffix(":in")


def _stop(model: m.Model, arrive: str, leave: str) -> str | None:
    """The word for a point in the middle of a path; None where no word arrives there and leaves so."""
    if arrive == leave:
        return arrive
    cavity = arrive.removesuffix(":in")
    if arrive == f"{cavity}:in" and leave == f"{cavity}:out":
        return cavity
    part = model.parts[part_of(arrive)]
    crossed = len(part.pins) == 2 and (arrive, leave) == tuple(f"{part.name}.{pin}" for pin in part.pins)
    return part.name if crossed and part.kind not in ("module", "connector") else None


def _link(wire: m.Wire) -> str:
    size, length = (_given("", wire.mm2, "mm2"), _given("", wire.metres, "m"))
    gauge = f"{wire.gauge}AWG" if wire.gauge is not None else ""
    details = _spaced(size.replace(" ", ""), gauge, wire.colour, length.replace(" ", ""))
    link = f" --[{details}]-- " if details else " -- "
    return f"{link}? -- " if wire.unknown else link


# the rest


def _state(model: m.Model, state: m.State) -> str:
    items = [f"{name} {position}" for name, position in state.switches.items()]
    items += [f"{name} running" for name in sorted(state.running)]
    for name, value in state.values.items():
        items.append(_given(name, value, "ohm" if len(model.parts[name].pins) == 2 else ""))
    items += [_given("lasts", state.lasts, "min"), _given("takes", state.takes, "min")]
    items += ["helper"] if state.helper else []
    return f"state {quoted(state.name)}  {', '.join(filter(None, items))}".rstrip()


def _stage(stage: m.Stage) -> Iterator[str]:
    good, bad = (_given("", value, "", stage.unit) for value in (stage.good, stage.bad))
    yield _wide(f"stage {stage.name}", _words(stage.words), f"{good} else {bad}" if good and bad else "")
    if stage.needs:
        yield f"{_INDENT}needs {', '.join(stage.needs)}"
    if stage.states:
        yield f"{_INDENT}in {', '.join(map(quoted, stage.states))}"
    for failure in stage.failures:
        yield f"{_INDENT}fails {quoted(failure.words)} x{written(failure.weight)}"
    if stage.stand_in:
        caution = f"caution {quoted(stage.stand_in.caution)}" if stage.stand_in.caution else ""
        minutes = _given("", stage.stand_in.minutes, "min")
        yield _INDENT + _wide("stand-in", quoted(stage.stand_in.words), minutes, caution)


def _rest(model: m.Model) -> Iterator[str]:
    for end in model.terminators:
        yield f"terminator {written(end.ohms, 'ohm')} at {end.part} on {end.bus}"
    for gauge in model.gauges.values():
        ratio = f"x{written(gauge.ratio)}" if gauge.ratio != 1.0 else ""
        error = _given("within", gauge.error, "", gauge.unit)
        head = f"gauge {gauge.name} {gauge.quantity} at {gauge.place}"
        yield _wide(head, ratio, error, _words(gauge.words))
    for reach in model.reaches.values():
        yield _wide(f"reach {reach.name}", written(reach.minutes, "min"), _words(reach.words))
    for suspicion in model.suspicions:
        yield _wide(f"suspect {suspicion.name} x{written(suspicion.factor)}", _words(suspicion.words))
