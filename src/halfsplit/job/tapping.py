"""A circuit entered by taps: what the page shows of it, and what a tap does.

The notation stays what is kept; each tap changes its text (`edits`) and stores it, so that nothing is lost and the text
can be gone on with at any time.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.model import Wire
from halfsplit.errors import InputError
from halfsplit.job.views import shown_as
from halfsplit.notation import edits
from halfsplit.units import format_quantity

RATINGS: Mapping[str, tuple[str, ...]] = {
    "fuse": ("5 A", "7.5 A", "10 A", "15 A", "20 A", "25 A", "30 A", "40 A"),
    "breaker": ("10 A", "20 A", "30 A"),
    "lamp": ("5 W", "21 W", "55 W"),
    "motor": ("2 A", "5 A", "10 A", "20 A"),
    "heater": ("60 W", "120 W", "200 W"),
    "solenoid": ("0.5 A", "1 A", "2 A"),
    "resistor": ("1 ohm", "100 ohm", "1 kohm"),
}
"""Values that are offered as taps; common practice, no source."""
PINS: Mapping[str, tuple[str, ...]] = {
    "connector": tuple(str(number) for number in range(1, 17)),
    "module": (*(str(number) for number in range(1, 13)), "15", "30", "31", "50"),
}
"""Pins that are offered as taps: cavities, and terminals by DIN 72552."""
UNIT_ORDER = ("W", "A", "ohm", "V")


@dataclass(frozen=True)
class Sheet:
    """Where somebody is on the sheet: the part and wire that are chosen, and the point from which the path goes on."""

    part: str = ""
    wire: int = -1
    end: str = ""
    pin: str = ""


@dataclass(frozen=True)
class TappedPart:
    """A part as the page lists it."""

    name: str
    kind: str
    words: str
    place: str
    value: str
    pins: tuple[str, ...] = ()
    ratings: tuple[str, ...] = ()
    offered: tuple[str, ...] = ()


@dataclass(frozen=True)
class TappedWire:
    """A wire as the page lists it; ``unknown`` is a stretch that nobody has seen yet."""

    number: int
    start: str
    stop: str
    colour: str
    mm2: str
    unknown: bool


@dataclass(frozen=True)
class TapView:
    """The sheet as it is shown. ``points``: (point, words) from which a path may go on, or to which it may lead."""

    sheet: Sheet
    parts: tuple[TappedPart, ...]
    wires: tuple[TappedWire, ...]
    chosen: TappedPart | None
    wire: TappedWire | None
    points: tuple[tuple[str, str], ...]
    kinds: tuple[str, ...] = field(default=tuple(edits.ADDITIONS))


def tap_view(text: str, sheet: Sheet) -> TapView:
    """What the page shows of a sound text. Raises ConflictError where the text has mistakes."""
    circuit = edits.circuit_of_text(text)
    parts = []
    for part in circuit.parts.values():
        unit = next((unit for unit in UNIT_ORDER if unit in part.values), "")
        pins = part.pins if part.kind in PINS else ()
        line: TappedPart = shown_as(
            TappedPart,
            part,
            value=format_quantity(part.values[unit], unit) if unit else "",
            pins=pins,
            ratings=RATINGS.get(part.kind, ()),
            offered=tuple(pin for pin in PINS.get(part.kind, ()) if pin not in pins),
        )
        parts.append(line)
    wires = []
    for number, wire in enumerate(circuit.model.wires):
        start, stop = (end.partition(":")[0] for end in wire.ends)
        mm2 = "" if wire.mm2 is None else f"{wire.mm2:g}"
        wires.append(TappedWire(number, start, stop, wire.colour, mm2, wire.unknown))
    chosen = next((part for part in parts if part.name == sheet.part), None)
    chosen_wire = wires[sheet.wire] if 0 <= sheet.wire < len(wires) else None
    return TapView(sheet, tuple(parts), tuple(wires), chosen, chosen_wire, _points(circuit, sheet.end))


def _points(circuit: Circuit, end: str) -> tuple[tuple[str, str], ...]:
    """Loose ends first; then, to begin with, the battery and splices; to lead to, grounds and splices too."""
    used = edits.wired(circuit)
    loose: list[str] = []
    shared: list[str] = []
    for part in circuit.parts.values():
        if part.kind == "splice" or (part.is_earth and end):
            shared.append(part.name)
        elif part.kind == "connector":
            cavities = [f"{part.name}.{pin}" for pin in part.pins]
            loose += [cavity for cavity in cavities if (f"{cavity}:in" in used) != (f"{cavity}:out" in used)]
            if end and part.pins:
                taken = {int(pin) for pin in part.pins if pin.isdigit()}
                loose.append(
                    f"{part.name}.{next(number for number in range(1, 1_000) if number not in taken)}"
                )
        elif part.is_source:
            shared += [] if end else [f"{part.name}.+"]
        else:
            loose += [f"{part.name}.{pin}" for pin in part.pins if f"{part.name}.{pin}" not in used]
    return tuple(
        (point, circuit.parts[point.partition(".")[0]].words)
        for point in dict.fromkeys((*loose, *shared))
        if point != end
    )


# What a tap does


def tapped(text: str, sheet: Sheet, act: str, fields: Mapping[str, str]) -> tuple[str, Sheet]:
    """The text and the place on the sheet after a tap.

    ``told``: what stands in the fields of the chosen part (name, words, place); it is taken before the tap itself, so
    that nothing typed needs a tap of its own. ``act`` is ``verb:what``. Raises InputError where it cannot be done.
    """
    if sheet.part and "name" in fields:
        name = fields["name"].strip() or sheet.part
        if name != sheet.part:
            text = edits.rename(text, sheet.part, name)
            head, dot, pin = sheet.end.partition(".")
            sheet = replace(sheet, part=name, end=f"{name}{dot}{pin}" if head == sheet.part else sheet.end)
        words, place, value = (fields.get(field, "") for field in ("words", "place", "value"))
        if words.strip() or place.strip() or value.strip():
            text = edits.describe(text, name, words=words, place=place, value=value)
    verb, _, what = act.partition(":")
    if verb not in ACTS:
        raise InputError(f"{act[:40]!r} is nothing that can be tapped")
    return ACTS[verb](text, sheet, what)


def _add(text: str, sheet: Sheet, kind: str) -> tuple[str, Sheet]:
    if not sheet.end:
        raise InputError("nothing to go on from", remedy="choose a point first")
    return _led_on(text, sheet, edits.add(text, sheet.end, kind))


def _led_on(text: str, sheet: Sheet, added: edits.Added) -> tuple[str, Sheet]:
    before, after = (
        [(wire.a, wire.b, wire.number) for wire in edits.circuit_of_text(source).model.wires]
        for source in (text, added.text)
    )
    new = next((number for number, wire in enumerate(after) if wire not in before), -1)
    return added.text, Sheet(part=added.part, wire=new, end=added.end)


def _pick(text: str, sheet: Sheet, name: str) -> tuple[str, Sheet]:
    edits.circuit_of_text(text)
    return text, replace(sheet, part=name, pin="", wire=-1)


def _pin(text: str, sheet: Sheet, pin: str) -> tuple[str, Sheet]:
    old = sheet.pin
    changed = edits.repin(text, sheet.part, old, pin)
    end = f"{sheet.part}.{pin}" if sheet.end == f"{sheet.part}.{old}" else sheet.end
    return changed, replace(sheet, pin="", end=end)


def _chosen_wire(text: str, sheet: Sheet) -> Wire:
    wires = edits.circuit_of_text(text).model.wires
    if not 0 <= sheet.wire < len(wires):
        raise InputError("no wire is chosen", remedy="choose one of the list")
    return wires[sheet.wire]


ACTS: Mapping[str, Callable[[str, Sheet, str], tuple[str, Sheet]]] = {
    "keep": lambda text, sheet, _: (text, sheet),
    "add": _add,
    "to": lambda text, sheet, point: _led_on(text, sheet, edits.join(text, sheet.end, point)),
    "from": lambda text, _, point: (text, Sheet(end=point)),
    "pick": _pick,
    "wire": lambda text, sheet, number: (
        text,
        replace(sheet, wire=int(number) if number.isdigit() else -1, part="", pin=""),
    ),
    "pin": lambda text, sheet, pin: (text, replace(sheet, pin=pin)),
    "as": _pin,
    "value": lambda text, sheet, value: (edits.describe(text, sheet.part, value=value), sheet),
    "colour": lambda text, sheet, code: (edits.colour(text, _chosen_wire(text, sheet), code), sheet),
    "mm2": lambda text, sheet, mm2: (edits.section(text, _chosen_wire(text, sheet), mm2), sheet),
    "remove": lambda text, _, name: (edits.remove(text, name), Sheet()),
}
"""What can be tapped: verb → what it does to the text and to the place on the sheet."""
