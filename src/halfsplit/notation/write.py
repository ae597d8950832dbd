"""Model → text. Reading the text gives the same model again; comments and includes are not in a model."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise

from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.model import (
    AS_DRAWN,
    BODY,
    Always,
    And,
    Behaviour,
    Condition,
    Driver,
    Gauge,
    Hears,
    Input,
    InState,
    Model,
    Not,
    Or,
    Part,
    PinIs,
    Stage,
    State,
    Wire,
)
from halfsplit.notation.amounts import written
from halfsplit.notation.words import without_comment

_WIDE = 34
"""So wide at most is the column of names and values; what is longer sticks out."""

_INDENT = "  "


def write(model: Model) -> str:
    """The circuit file of a model, in the order of its contents.

    A path that no file could have given (wires of one `Wire.path` that do not follow each other) becomes several.
    """
    heads = [(part, _head(part)) for part in model.parts.values() if part.declared]
    width = min(_WIDE, max((len(head) for _, head in heads), default=0))
    lines = []
    for part, head in heads:
        said = [quoted(part.words)] * bool(part.words) + [f"at {quoted(part.place)}"] * bool(part.place)
        lines.append("  ".join([head.ljust(width), *said]).rstrip())
        lines += [_INDENT + line for line in _under(part)]
    sections = [
        _title(model),
        lines,
        list(_paths(model)),
        [
            _state(model, state)
            for state in model.states.values()
            if state != AS_DRAWN or len(model.states) > 1
        ],
        [line for stage in model.stages.values() for line in _stage(stage)],
        _rest(model),
    ]
    return "\n\n".join("\n".join(section) for section in sections if section) + "\n"


def quoted(text: str) -> str:
    """Text in quotation marks; it cannot hold one, nor a line break."""
    return '"' + " ".join(text.replace('"', "'").splitlines()) + '"'


def _title(model: Model) -> list[str]:
    if not model.title:
        return []
    title = model.title
    plain = title == without_comment(title.strip()) and not re.fullmatch(r'"[^"]*"|[^"]*"[^"]*', title)
    return [f"title  {title}" if plain else f"title  {quoted(title)}"]


# parts


def _head(part: Part) -> str:
    values = [_value(unit, part.values[unit]) for unit in KINDS[part.kind].units if unit in part.values]
    on = [f"on {part.mass}"] if part.mass != BODY else []
    return " ".join([f"{part.kind:<9}", part.name, *part.positions, *values, *on])


def _value(unit: str, value: float) -> str:
    if unit in ("pulls", "drops"):
        return f"{unit} {written(value, 'V')}"
    return written(value, "" if unit == "share" else unit)


def _under(part: Part) -> Iterator[str]:
    yield from (f"kind {tag}" for tag in part.tags)
    yield from (f"joins {join.position} {join.a} {join.b}" for join in part.joins)
    yield from ["drifts"] * part.drifts
    if part.park:
        yield f"parks {' '.join(part.park)}"
    if part.behaviour:
        yield from _behaviour(part.behaviour)


def _behaviour(behaviour: Behaviour) -> Iterator[str]:
    yield from (f"feed {' or '.join(group)}" for group in behaviour.feeds)
    yield from (f"earth {pin}" for pin in behaviour.earths)
    if behaviour.draws is not None:
        yield f"draws {written(behaviour.draws, 'A')}"
    if behaviour.works_over is not None:
        yield f"works over {written(behaviour.works_over, 'V')}"
    yield from map(_input, behaviour.inputs)
    yield from map(_driver, behaviour.drivers)
    for supply in behaviour.supplies:
        yield f"supplies {supply.pin} {written(supply.volts, 'V')}" + _option("limit", supply.limit, "A")
    for talk in behaviour.talks:
        yield f"talks on {talk.bus} at {' '.join(pin for pin in (talk.high, talk.low) if pin)}"
    yield from (f"clamp {pin}" for pin in behaviour.clamps)
    if behaviour.sleep:
        yield f"sleeps {written(behaviour.sleep.amps, 'A')} after {written(behaviour.sleep.after, 'min')}"
        if behaviour.sleep.wakes:
            yield f"wakes when {_condition(behaviour.sleep.wakes)}"


def _option(word: str, value: float | None, unit: str) -> str:
    return "" if value is None else f" {word} {written(value, unit)}"


def _input(port: Input) -> str:
    name = f" as {port.name}" if port.name else ""
    pull = f" pulled {port.pull} {written(port.ohms, 'ohm')}" if port.pull and port.ohms is not None else ""
    return (
        f"reads {port.pin}{name}{pull}"
        + _option("low under", port.low_under, "V")
        + _option("high over", port.high_over, "V")
    )


def _driver(driver: Driver) -> str:
    words = [f"drives {driver.pin} {driver.side}"]
    words += [written(driver.ohms, "ohm")] if driver.ohms is not None else []
    if driver.limit is not None:
        words.append(f"limit {written(driver.limit, 'A')}")
    if driver.latches is not None:
        words.append(
            "latches off" + ("" if driver.latches == "power" else f" until {quoted(driver.latches)}")
        )
    if driver.bias is not None:
        words.append(f"bias {written(driver.bias, 'ohm')} when off")
    if driver.duty is not None:
        words.append(
            f"pwm {written(driver.duty)}" + (f" {written(driver.hertz, 'Hz')}" if driver.hertz else "")
        )
    return " ".join([*words, f"when {_condition(driver.when)}"])


def _condition(condition: Condition) -> str:
    match condition:
        case Always():
            return "always"
        case PinIs(pin, level):
            return f"{pin} is {level}"
        case InState(state):
            return quoted(state)
        case Hears(listener, speaker):
            return f"{listener} hears {speaker}"
        case Not(term):
            return f"not {_inner(term)}"
        case And(terms):
            return " and ".join(map(_inner, terms))
        case Or(terms):
            return " or ".join(map(_inner, terms))


def _inner(condition: Condition) -> str:
    """A term of another: in parentheses where it is made of several itself."""
    text = _condition(condition)
    return f"({text})" if isinstance(condition, And | Or) else text


# paths


def _paths(model: Model) -> Iterator[str]:
    for variant, group in groupby(model.wires, key=lambda wire: wire.variant):
        if variant:
            yield f"variant {variant}"
        indent = _INDENT if variant else ""
        for _, wires in groupby(group, key=lambda wire: wire.path):
            yield from (indent + text for text in _path(model, list(wires)))


def _path(model: Model, wires: Sequence[Wire]) -> Iterator[str]:
    """One path, or several where a wire does not start where the last one ended."""
    text = _start(wires[0].a) + _link(wires[0])
    for before, wire in pairwise(wires):
        stop = _stop(model, before.b, wire.a)
        if stop is None:
            yield text + _end(before.b)
            text = _start(wire.a) + _link(wire)
        else:
            text += stop + _link(wire)
    yield text + _end(wires[-1].b)


def _start(point: str) -> str:
    return point.removesuffix(":out")


def _end(point: str) -> str:
    return point.removesuffix(":in")


def _stop(model: Model, arrive: str, leave: str) -> str | None:
    """The word for a point in the middle of a path; None where no word arrives there and leaves so."""
    if arrive == leave:
        return arrive
    cavity = arrive.removesuffix(":in")
    if arrive == f"{cavity}:in" and leave == f"{cavity}:out":
        return cavity
    part = model.parts[arrive.partition(":")[0].partition(".")[0]]
    crossed = len(part.pins) == 2 and (arrive, leave) == tuple(f"{part.name}.{pin}" for pin in part.pins)
    return part.name if crossed and part.kind not in ("module", "connector") else None


def _link(wire: Wire) -> str:
    details = [written(wire.mm2, "mm2").replace(" ", "")] if wire.mm2 is not None else []
    details += [f"{wire.gauge}AWG"] if wire.gauge is not None else []
    details += [wire.colour] if wire.colour else []
    details += [written(wire.metres, "m").replace(" ", "")] if wire.metres is not None else []
    link = f" --[{' '.join(details)}]-- " if details else " -- "
    return f"{link}? -- " if wire.unknown else link


# the rest


def _state(model: Model, state: State) -> str:
    items = [f"{name} {position}" for name, position in state.switches.items()]
    items += [f"{name} running" for name in sorted(state.running)]
    items += [
        f"{name} {written(value, 'ohm' if len(model.parts[name].pins) == 2 else '')}"
        for name, value in state.values.items()
    ]
    items += [
        f"{word} {written(value, 'min')}"
        for word, value in (("lasts", state.lasts), ("takes", state.takes))
        if value is not None
    ]
    items += ["helper"] if state.helper else []
    return f"state {quoted(state.name)}  {', '.join(items)}".rstrip()


def _stage(stage: Stage) -> Iterator[str]:
    head = [f"stage {stage.name}"] + [quoted(stage.words)] * bool(stage.words)
    if stage.good is not None and stage.bad is not None:
        head.append(f"{_number(stage.good, stage.unit)} else {_number(stage.bad, stage.unit)}")
    yield "  ".join(head)
    if stage.needs:
        yield f"{_INDENT}needs {', '.join(stage.needs)}"
    if stage.states:
        yield f"{_INDENT}in {', '.join(map(quoted, stage.states))}"
    yield from (
        f"{_INDENT}fails {quoted(failure.words)} x{written(failure.weight)}" for failure in stage.failures
    )
    if stage.stand_in:
        minutes = [written(stage.stand_in.minutes, "min")] if stage.stand_in.minutes is not None else []
        caution = [f"caution {quoted(stage.stand_in.caution)}"] if stage.stand_in.caution else []
        yield _INDENT + "  ".join(["stand-in", quoted(stage.stand_in.words), *minutes, *caution])


def _gauge(gauge: Gauge) -> str:
    words = [f"gauge {gauge.name} {gauge.quantity} at {gauge.place}"]
    words += [f"x{written(gauge.ratio)}"] if gauge.ratio != 1.0 else []
    words += [f"within {_number(gauge.error, gauge.unit)}"] if gauge.error is not None else []
    words += [quoted(gauge.words)] if gauge.words else []
    return "  ".join(words)


def _number(value: float, unit: str) -> str:
    return f"{written(value)} {unit}".strip()


def _rest(model: Model) -> list[str]:
    lines = [f"terminator {written(end.ohms, 'ohm')} at {end.part} on {end.bus}" for end in model.terminators]
    lines += [_gauge(gauge) for gauge in model.gauges.values()]
    lines += [
        f"reach {reach.name}  {written(reach.minutes, 'min')}"
        + (f"  {quoted(reach.words)}" if reach.words else "")
        for reach in model.reaches.values()
    ]
    lines += [
        f"suspect {suspicion.name} x{written(suspicion.factor)}"
        + (f"  {quoted(suspicion.words)}" if suspicion.words else "")
        for suspicion in model.suspicions
    ]
    return lines
