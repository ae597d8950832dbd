"""What is written: at each post the pins, marks and readings, beside each glyph its name, values and place.

A note has its place relative to its post and to one of the three zones of the row: ``top`` (the wire above the
symbol, its origin where the symbol begins), ``mid`` (beside the symbol, its origin the middle), ``bottom`` (the wire
below it).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from halfsplit.circuit.model import Behaviour, Model, Part
from halfsplit.drawing.fold import Fold
from halfsplit.drawing.fonts import ASCENT, DESCENT, shorten, text_width, wrap
from halfsplit.drawing.glyphs import End, Glyph, Scene, Side, symbol_of
from halfsplit.units import format_quantity

Zone = Literal["top", "mid", "bottom"]
NAME, VALUE, SMALL = 16.0, 14.0, 14.0
"""Sizes of text, px at scale 1: nothing is smaller than 14, which is read from the wing of a car."""
LEADING = 18.0
TARGET = 44.0
"""Smallest width and height of what can be tapped, px."""
GAP = 8.0
CLASSES = (0.005, 0.05, 0.15, 0.35, 0.6)
"""Lower bounds of the five classes of suspicion."""


@dataclass(frozen=True, slots=True)
class Note:
    """A line of text; ``pill`` is the class of the ground behind it ('suspicion-3', 'lead-red'), '' for none."""

    zone: Zone
    x: float
    y: float
    text: str
    size: float = SMALL
    anchor: Literal["start", "middle", "end"] = "start"
    style: str = "note"
    pill: str = ""

    @property
    def bold(self) -> bool:
        return self.style in {"name", "reading", "share", "lead"}

    @property
    def width(self) -> float:
        return text_width(self.text, self.size, bold=self.bold) + (10 if self.pill else 0)

    @property
    def left(self) -> float:
        return self.x - {"start": 0.0, "middle": self.width / 2, "end": self.width}[self.anchor]


@dataclass(frozen=True, slots=True)
class Overlays:
    """What is laid over the drawing: suspicion (0 to 1) by part, point or wire; readings, expectations by point.

    ``leads``: point → 'red' or 'black', where the two leads of the instrument go; ``E5 body`` is the bare metal
    beside the ground point E5.
    """

    suspicion: Mapping[str, float] = field(default_factory=dict)
    readings: Mapping[str, str] = field(default_factory=dict)
    expected: Mapping[str, str] = field(default_factory=dict)
    leads: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Cell:
    """One post with what is written at it. ``left``, ``right``: room beside the line; heights of the three zones."""

    post: str
    left: float
    right: float
    heights: tuple[float, float, float]
    notes: tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Writing:
    """All that a label can need."""

    model: Model
    fold: Fold
    scene: Scene
    overlays: Overlays
    room: float
    marks: Mapping[End, tuple[str, str]]
    """End → the mark and the name of the wire that is labelled there."""


def suspicion_class(share: float) -> int:
    """0 (not shown) to 5 (darkest)."""
    return sum(share >= bound for bound in CLASSES)


def per_cent(share: float) -> str:
    """A share as it is written: whole per cent, and never 100 or 0 that is not quite that."""
    return "<1 %" if share < 0.01 else ">99 %" if 0.99 < share < 1 else f"{100 * share:.0f} %"


# The label of a glyph


def label_of(glyph: Glyph, writing: Writing) -> list[tuple[str, float, str]]:
    """Lines (text, size, style) that stand beside a glyph or in its box."""
    if glyph.form == "folded":
        parts = next(stub.parts for stub in writing.fold.stubs if stub.key == glyph.key)
        count = f"{len(parts)} part{'s' * (len(parts) != 1)} folded"
        names = wrap(", ".join(parts), SMALL, writing.room, 2)
        return [(count, SMALL, "value"), *((line, SMALL, "place") for line in names)]
    part = writing.model.parts.get(glyph.part)
    name = "body" if part is None and glyph.key == "body" else glyph.key
    lines = [(name, NAME, "name")]
    if part is not None:
        lines += [(line, VALUE, "value") for line in wrap(values_of(part), VALUE, writing.room, 2)]
        lines += [(line, VALUE, "value") for line in joins_of(part)]
        lines += [(line, SMALL, "words") for line in wrap(part.words, SMALL, writing.room, 2)]
        lines += [(line, SMALL, "place") for line in wrap(part.place, SMALL, writing.room, 2)]
        hidden = writing.fold.hidden.get(part.name, 0)
        lines += [(f"+ {hidden} wire{'s' * (hidden > 1)} folded", SMALL, "place")] if hidden else []
    return lines


def values_of(part: Part) -> str:
    """What the file gives for a part: ``15 A``, ``21 W``, the positions of a switch, the mass of a ground."""
    words = [
        format_quantity(value, unit).replace("ohm", "Ω")
        for unit, value in part.values.items()
        if unit in {"V", "A", "W", "ohm"}
    ]
    words += [f"{100 * part.values['share']:.0f} %"] if "share" in part.values else []
    words += ["/".join(part.positions)] if part.positions and not part.joins else []
    words += [f"on {part.mass}"] if part.kind == "ground" and part.mass != "body" else []
    return ", ".join(words)


def joins_of(part: Part) -> list[str]:
    """A line for each position of a switch: which pins it joins."""
    positions = dict.fromkeys(join.position for join in part.joins)
    return [
        f"{position}: " + ", ".join(f"{join.a}–{join.b}" for join in part.joins if join.position == position)
        for position in positions
    ]


def roles_of(behaviour: Behaviour | None) -> dict[str, str]:
    """Pin → what the module does there, in a word or two."""
    if behaviour is None:
        return {}
    roles = dict.fromkeys(behaviour.clamps, "clamp")
    roles |= {entry.pin: shorten(entry.name or "in", SMALL, 52) for entry in behaviour.inputs}
    for driver in behaviour.drivers:
        both = len({other.side for other in behaviour.drivers if other.pin == driver.pin}) > 1
        roles[driver.pin] = "out ±" if both else "out +" if driver.side == "high" else "out −"
    roles |= {supply.pin: format_quantity(supply.volts, "V") for supply in behaviour.supplies}
    for talk in behaviour.talks:
        lines = ((talk.high, "H" if talk.low else ""), (talk.low, "L"))
        roles |= {pin: shorten(f"{talk.bus} {line}".strip(), SMALL, 52) for pin, line in lines if pin}
    roles |= dict.fromkeys(behaviour.earths, "earth")
    return roles | {pin: "feed" for group in behaviour.feeds for pin in group}


def suspicion_pill(name: str, overlays: Overlays) -> tuple[str, str]:
    """The text and the class of the pill for a name; ('', '') where there is no suspicion worth showing."""
    share = overlays.suspicion.get(name, 0.0)
    level = suspicion_class(share)
    return (per_cent(share), f"suspicion-{level}") if level else ("", "")


def _beside(glyph: Glyph, x: float, writing: Writing) -> Iterator[Note]:
    """The label to the right of a symbol, its block centred on the middle of the row."""
    lines = label_of(glyph, writing)
    top = -len(lines) * LEADING / 2
    for number, (text, size, style) in enumerate(lines):
        note = Note("mid", x, top + (number + 0.5) * LEADING, text, size, style=style)
        yield note
        pill, level = suspicion_pill(glyph.key, writing.overlays) if number == 0 else ("", "")
        if level:
            yield Note("mid", x + note.width + 6, note.y, pill, style="share", pill=level)
    if glyph.form == "splice":
        yield from _values_at(glyph.key, "mid", x, top + len(lines) * LEADING, 1, writing)


def _values_at(point: str, zone: Zone, x: float, start: float, step: int, writing: Writing) -> Iterator[Note]:
    """The lead that goes there, the last reading and the expected volts of a point, line by line from ``start``."""
    expected = writing.overlays.expected.get(point)
    texts = (
        (writing.overlays.leads.get(point), "lead", SMALL),
        (writing.overlays.readings.get(point), "reading", VALUE),
        (f"should be {expected}" if expected else "", "expected", SMALL),
    )
    lines = [entry for entry in texts if entry[0]]
    for number, (text, style, size) in enumerate(lines):
        pill = f"lead-{text}" if style == "lead" else ""
        yield Note(zone, x, start + step * (number + 0.5) * LEADING, text or "", size, style=style, pill=pill)


# Cells


def cells_of(glyph: Glyph, columns: Mapping[str, int], writing: Writing) -> list[Cell]:
    """The cells of a glyph's posts; its label stands beside the rightmost post."""
    if glyph.form == "pass":
        notes = [note for end, _ in glyph.posts[0].ends for note in _mark_notes(end, "mid", 0.0, writing)]
        right = max([12.0, *(note.left + note.width + GAP for note in notes)])
        return [Cell(glyph.key, 12.0, right, (0, LEADING if notes else 0, 0), tuple(notes))]
    rightmost = max((post.key for post in glyph.posts), key=lambda post: (columns[post], post))
    return [_cell(glyph, number, rightmost, writing) for number in range(len(glyph.posts))]


def _mark_notes(end: End, zone: Zone, y: float, writing: Writing) -> list[Note]:
    """Colour and section of the wire that is labelled at this end, with its suspicion."""
    mark, wire = writing.marks.get(end, ("", ""))
    notes = [Note(zone, GAP, y, shorten(mark, SMALL, 1.2 * writing.room), style="mark")] if mark else []
    pill, level = suspicion_pill(wire, writing.overlays) if wire else ("", "")
    if level:
        x = GAP + sum(note.width + 6 for note in notes)
        notes.append(Note(zone, x, y, pill, style="share", pill=level))
    return notes


def _stub_notes(glyph: Glyph, end: End, point: str, writing: Writing) -> list[Note]:
    """What stands along the wire at a pin: the number to the left; reading, expectation and mark to the right."""
    zone: Zone = end.side
    step = -1 if zone == "top" else 1
    if glyph.form == "splice":
        return _mark_notes(end, zone, step * LEADING / 2, writing)
    values = list(_values_at(point, zone, GAP, 0.0, step, writing))
    far = {0: TARGET / 2, 1: 1.5 * LEADING + 4}.get(len(values), (len(values) + 0.5) * LEADING)
    notes = [*values, *_mark_notes(end, zone, step * far, writing)]
    pin = pin_of(glyph, point)
    if pin:
        notes.append(Note(zone, -7, step * LEADING / 2, pin, SMALL, "end", "pin"))
    # Farther from it the suspicion, and whether its wires are folded.
    pill, level = ("", "") if point_name(point) == glyph.key else suspicion_pill(point, writing.overlays)
    share = Note(zone, -10, step * 30, pill, anchor="end", style="share", pill=level)
    if level:
        notes.append(share)
    if point in writing.fold.cut:
        left = share.left - 6 if level else -7
        notes.append(Note(zone, left, step * 30, "folded", SMALL, "end", "place"))
    return notes


def pin_of(glyph: Glyph, point: str) -> str:
    """The number or letter of a pin as it stands beside its wire; '' where the glyph's name says it."""
    if glyph.form in {"cavity", "splice", "ground", "mass", "folded", "loop", "pass"} or "." not in point:
        return ""
    return shorten(point.partition(".")[2], SMALL, 60)


def point_name(point: str) -> str:
    """The name by which contacts are suspected: a cavity without its side."""
    return point.removesuffix(":in").removesuffix(":out")


def _cell(glyph: Glyph, number: int, rightmost: str, writing: Writing) -> Cell:
    post = glyph.posts[number]
    notes: list[Note] = []
    stubs: dict[Side, float] = {"top": 0.0, "bottom": 0.0}
    for end, point in post.ends:
        lines = _stub_notes(glyph, end, point, writing)
        tall = TARGET if glyph.form not in {"splice", "folded", "loop"} else LEADING if lines else 0.0
        stubs[end.side] = max([tall, *(abs(note.y) + LEADING / 2 for note in lines)])
        notes += lines
    # The lead that goes to the bare metal beside a ground point: below its symbol.
    lead = writing.overlays.leads.get(f"{post.top} body") if glyph.foot else None
    body = [Note("bottom", 0, 12, lead, SMALL, "middle", "lead", f"lead-{lead}")] if lead else []
    notes += body
    stubs["bottom"] = max(stubs["bottom"], len(body) * (LEADING + 4))
    half, wing = _half_widths(glyph, number)
    roles = _role_notes(glyph, point=post.top or post.bottom, top=bool(post.top), writing=writing)
    beside: list[Note] = []
    if not glyph.free and post.key == rightmost and glyph.form != "loop":
        beside = list(_beside(glyph, wing + GAP, writing))
    notes += beside
    wide = max([TARGET / 2 + 2, *(note.width / 2 + 5 for note in roles)])
    left = max([half + 2, wide, *(-note.left + 2 for note in notes)])
    right = max([wing + 2, wide, *(note.left + note.width + GAP for note in notes)])
    # Room for the symbol and for what stands beside it, around the middle of the row.
    tall = box_height(glyph, writing) if glyph.free else TARGET
    mid = max([tall, *(2 * abs(note.y) + LEADING for note in beside)])
    return Cell(post.key, left, right, (stubs["top"], mid, stubs["bottom"]), (*notes, *roles))


def _half_widths(glyph: Glyph, number: int) -> tuple[float, float]:
    """How far a symbol reaches to the left and to the right of a post."""
    if glyph.free or glyph.form == "loop":
        return BOX_MARGIN, BOX_MARGIN
    if glyph.form == "relay":
        half = symbol_of("coil" if number == 0 else "contact").half
        return half, half
    symbol = symbol_of(glyph.form)
    if len(glyph.posts) == 1:
        return symbol.half, symbol.right or symbol.half
    return symbol.reach + 4, symbol.reach + 4


# Boxes

BOX_MARGIN = 30.0
"""From the first post to the left edge of the box, and from the last to its right edge."""


def box_height(glyph: Glyph, writing: Writing) -> float:
    """Name and words in the middle, a line for the pins above and below."""
    return max(TARGET, (len(label_of(glyph, writing)) + 2) * LEADING + 8)


def box_lines(glyph: Glyph, writing: Writing) -> list[Note]:
    """The name in the box, relative to the left edge of the box and the middle of the row."""
    return list(_beside(glyph, GAP, writing))


def box_room(lines: Sequence[Note]) -> float:
    """The width that a box needs for these lines."""
    return max(note.left + note.width for note in lines) + GAP


def _role_notes(glyph: Glyph, *, point: str, top: bool, writing: Writing) -> list[Note]:
    part = writing.model.parts.get(glyph.part)
    if not glyph.free or part is None or not point:
        return []
    role = "…" if point.endswith(" more") else roles_of(part.behaviour).get(point.partition(".")[2], "")
    edge = box_height(glyph, writing) / 2 - LEADING / 2 - 2
    return [Note("mid", 0, -edge if top else edge, role, SMALL, "middle", "role")] if role else []


def note_box(note: Note, x: float, y: float) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of the text of a note whose origin is at (x, y); y of a note is its middle."""
    middle = y + note.y
    height = note.size * (ASCENT + DESCENT)
    return x + note.left, middle - height / 2, x + note.left + note.width, middle + height / 2
