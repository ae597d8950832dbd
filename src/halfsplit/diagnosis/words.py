"""Tests, places and results in plain words: one sentence in the imperative, both lead positions always told."""

from __future__ import annotations

import re
from collections.abc import Mapping

from halfsplit.circuit.circuit import WEAK_FROM, WORKS_FROM, Circuit
from halfsplit.circuit.instruments import METER_MOST_OHMS
from halfsplit.circuit.interventions import Intervention, Jump, LampFor, Replace, StandInFor, Unplug
from halfsplit.circuit.model import BODY, Part
from halfsplit.circuit.naming import side_words, thing_words
from halfsplit.diagnosis.cost import part_of, stateless
from halfsplit.diagnosis.measurement import UNITS, Measurement
from halfsplit.quantities import QUANTITIES
from halfsplit.units import format_quantity

NEGATIVE_POST = "battery negative post"
SPOILT_BY_DIRT = ("volts", "ohms", "amps", "lamp")


_BETWEEN = re.compile(r"\b(from|bridging) (\S+) to (\S+)")


def between_words(text: str, circuit: Circuit) -> str:
    """A requirement of proof with the two points that it names in words: 'bridging X31.4:in to E4 restores …'."""

    def told(found: re.Match[str]) -> str:
        ends = found.group(2), found.group(3)
        if not all(end == BODY or end in circuit.points for end in ends):
            return found.group()
        return f"{found.group(1)} {point_words(ends[0], circuit)} to {point_words(ends[1], circuit)}"

    return _BETWEEN.sub(told, text)


def point_words(point: str | None, circuit: Circuit) -> str:
    """What is there, then its code: ``X31.4:in`` → 'tailgate plug, pin 4, motor side (X31.4)'.

    None is the battery's negative post.
    """
    if point is None:
        return NEGATIVE_POST
    if " and " in point:
        return ", and ".join(point_words(end, circuit) for end in point.split(" and "))
    if point == BODY:
        return "bare metal of the body"
    name = point.partition(":")[0]
    head, _, pin = name.partition(".")
    part = circuit.parts.get(head)
    if part is None:
        return name
    where = _side(part, point, circuit)
    described = part.words or (part.place if part.kind == "ground" else "")
    thing = thing_words(part) if described else f"{SHORT_KINDS.get(part.kind) or thing_words(part)} {head}"
    if part.is_source and pin:
        at, where = f"{pin} {where or 'post'}", ""
    else:
        at = f"pin {pin}" if pin else ""
    words = ", ".join(word for word in (thing, at, where) if word)
    return f"{words} ({name})" if described else words


SHORT_KINDS: Mapping[str, str] = {"splice": "splice", "ground": "ground", "mass": "body"}
"""Kinds that stand before a code: 'splice SP5', 'ground E1'."""


def short_words(point: str, circuit: Circuit) -> str:
    """A point for a list, by its code: 'X31.4, motor side'."""
    name = point.partition(":")[0]
    part = circuit.parts.get(part_of(point))
    where = side_words(point, circuit.model) if part is None else _side(part, point, circuit)
    return f"{name}, {where}" if where else name


def _side(part: Part, point: str, circuit: Circuit) -> str:
    """On which side of a contact a point is, where it has two that can be got at."""
    on_the_part = point.endswith(":part")
    if part.kind == "battery" and "." in point:
        return "post" if on_the_part else "clamp"
    if not on_the_part:
        return side_words(point, circuit.model)
    return "test point on top" if part.kind == "fuse" else "on the part"


def part_words(name: str, circuit: Circuit) -> str:
    """``M9`` → 'rear wiper motor (M9)', ``X31.4`` → 'tailgate plug, pin 4 (X31.4)'; a wire by its two ends."""
    if name.startswith("wire "):
        ends = name.split()
        return " ".join(["wire", ends[1], "to", *ends[2:]])
    return point_words(name, circuit) if part_of(name) in circuit.parts else name


def change_words(change: Intervention, circuit: Circuit | None) -> str:
    """What to do before the test, as a sentence; without a circuit by codes alone."""
    match change:
        case Unplug(name):
            return f"Unplug {name}."
        case Jump(a, b, heavy):
            first, second = (short_words(end, circuit) if circuit else end for end in (a, b))
            comma = "," if "," in first + second else ""
            return f"Join {first}{comma} and {second}{comma} with a {'booster cable' if heavy else 'fused lead'}."
        case LampFor(fuse, watts):
            return f"Put a {watts:g} W lamp in place of {fuse}."
        case Replace(name, what="wire"):
            return f"Cut {part_words(name, circuit) if circuit else name} off at both ends and lay another past it."
        case Replace(name, what="terminal"):
            return f"Fit a new terminal at {short_words(name, circuit) if circuit else name}."
        case Replace(name):
            return f"Fit a known-good {name}."
        case StandInFor(stage):
            return f"Stand in for {stage}."


def twin_words(change: Intervention, circuit: Circuit) -> str:
    """For a relay to be swapped: one of the same kind in the same box, whose load then tells of the one taken out."""
    part = circuit.parts.get(change.name) if isinstance(change, Replace) else None
    if part is None or part.kind != "relay":
        return ""
    for other in circuit.model.of_kind("relay"):
        alike = other.values == part.values and set(other.pins) == set(part.pins)
        if other.name != part.name and alike and other.place == part.place != "":
            return f" Its twin {part_words(other.name, circuit)} will do: see whether the other's load fails then."
    return ""


def sentence(measurement: Measurement, circuit: Circuit, *, again: bool = False) -> str:
    """The test in one sentence or two: what to set up, what to measure, from where to where; ``again``: once more."""
    done = [change_words(change, circuit) + twin_words(change, circuit) for change in measurement.changes]
    still = measurement.quantity in ("inspection", "ohms") and stateless(measurement, circuit.model)
    state = "" if still or len(circuit.states) == 1 else f"State “{measurement.state}”: "
    # A lead that did not touch can spoil the reading of a meter, a clamp or a lamp.
    cleaned = ", with the point cleaned" if measurement.quantity in SPOILT_BY_DIRT else ""
    anew = f"once more{cleaned}: " if again else ""
    asked = anew + state + _question(measurement, circuit)
    return " ".join([*done, asked[:1].upper() + asked[1:]])


def _as_it_should(measurement: Measurement, circuit: Circuit) -> str:
    """Where a load has less in this state than in another when nothing is wrong: slow is right there, or off."""
    most = circuit.healthy_volts.get(measurement.at, 0.0)
    share = circuit.healthy_across(measurement.state)[measurement.at] / most if most > 0 else 1.0
    if share >= WORKS_FROM or (share < WEAK_FROM and measurement.changes):
        return ""
    return " as it should in this state" if share >= WEAK_FROM else ", though it should not in this state"


def _question(measurement: Measurement, circuit: Circuit) -> str:
    quantity, at = QUANTITIES[measurement.quantity], measurement.at
    part = part_words(at, circuit)
    drawn = circuit.model.stages.get(at) or circuit.model.gauges.get(at)
    own = drawn.words if drawn else ""
    asked = quantity.question_of_detail if measurement.detail else ""
    leads = (point_words(end, circuit) for end in (at, measurement.to)) if quantity.leads else ()
    return (asked or quantity.question).format(
        at=at,
        leads=" to ".join(leads),
        instrument=measurement.instrument,
        part=part,
        the_part=part if part.startswith("the ") else f"the {part}",
        as_it_should=_as_it_should(measurement, circuit) if quantity.name == "works" else "",
        detail=" ".join(measurement.detail),
        aspect="".join(measurement.detail[:1]),
        own_words=" ".join(filter(None, (at, own))) if quantity.name == "gauge" else own or at,
    )


SAID = tuple(sorted({12.0, *(digit * 10.0**power for power in range(-2, 8) for digit in (1.0, 2.0, 5.0))}))
"""Numbers that are said for a limit: 0.1, 0.2, 0.5, 1, 2, 5, 10, 12 … (common practice, no source)."""


def said_between(low: float, high: float) -> float | None:
    """The limit that one would name midway between two readings; None where no round number lies between them.

    >>> said_between(0.1, 12.1), said_between(0.06, 0.4), said_between(11.6, 12.4), said_between(12.41, 12.44)
    (5.0, 0.2, 12.0, None)
    """
    middle = 0.5 * (low + high)
    round_ones = [sign * number for number in SAID for sign in (1.0, -1.0) if low < sign * number < high]
    for step in (0.5, 0.1, 0.05):
        if not round_ones and high - low > step / 2.0:
            rounded = round(round(middle / step) * step, 2)
            round_ones = [rounded] if low < rounded < high else []
    return min(round_ones, key=lambda number: (abs(number - middle), -number), default=None)


def reading_words(measurement: Measurement, value: float | str) -> str:
    """``12.31`` of volts → '12.3 V'; words stay as they are; OL for an open circuit."""
    if isinstance(value, str):
        return value
    if measurement.quantity == "ohms" and value >= METER_MOST_OHMS:
        return "OL"
    if measurement.quantity == "duty":
        return f"{100 * value:.0f} %"
    unit = UNITS.get(measurement.quantity)
    # A stage and a gauge have a unit of their own, of which the measurement does not know.
    return format_quantity(value, unit) if unit else f"{value:.4g}"


def evidence_words(measurement: Measurement, value: float | str, circuit: Circuit) -> str:
    """A reading for a list: '8.9 V at X31.4, motor side (wiper on)'."""
    shown = reading_words(measurement, value)
    ends = [short_words(end, circuit) for end in (measurement.at, measurement.to) if end is not None]
    where = " to ".join(ends)
    made = "".join(f", {change}" for change in measurement.changes)
    match measurement.quantity:
        case "works":
            verb = {"yes": "works", "weak": "is weak", "no": "does not work"}[str(value)]
            return f"{measurement.at} {verb} ({measurement.state}{made})"
        case "answers":
            verb = "answers" if value == "yes" else "does not answer"
            return f"{measurement.at} {verb} ({measurement.state})"
        case "code":
            unset = "" if value == "set" else " (not set)"
            return f"code in {measurement.at}: {' '.join(measurement.detail)}{unset}"
        case "inspection":
            return f"{' '.join((*measurement.detail, measurement.at))} inspected: {value}"
        case _:
            return f"{shown} at {where} ({measurement.state}{made})"
