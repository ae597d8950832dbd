"""What is marked on the pages of a diagram: parts, pins, joints, traces; and how it is kept.

All coordinates are those of the page itself. A mark has a key of its own, which stays when its name changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any, Literal

from halfsplit.diagram.sheet import Box, Spot
from halfsplit.errors import InputError

State = Literal["proposed", "confirmed", "drawn"]
"""``proposed`` by the reader; ``confirmed`` by a person; ``drawn`` by a person. Only the latter two become circuit."""


@dataclass(frozen=True, slots=True)
class Page:
    """A page that marks lie on.

    ``file_hash``: SHA-256 of the stored file. ``number`` counts from 1. ``kind``: ``vector`` or ``raster``.
    ``homography``: nine numbers, row by row, from the straightened picture to the photo as it was taken; empty for a
    page that needs none. ``width`` and ``height`` in points, or pixels of the straightened picture.
    """

    key: str
    file_hash: str
    number: int
    width: float
    height: float
    kind: Literal["vector", "raster"] = "vector"
    name: str = ""
    homography: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """A box around a part; parts of the same name on several places are one part. ``value`` as the page has it."""

    key: str
    page: str
    name: str
    kind: str
    box: Box
    words: str = ""
    value: str = ""
    state: State = "proposed"


@dataclass(frozen=True, slots=True)
class Pin:
    """A pin of a part, where its wire ends."""

    key: str
    part: str
    name: str
    spot: Spot


@dataclass(frozen=True, slots=True)
class Joint:
    """Where wires meet or end without a part: a splice where there are three, else a loose end with what stands there.

    ``link``: joints of the same link are one point, once somebody said so; often they lie on different pages.
    """

    key: str
    page: str
    spot: Spot
    name: str = ""
    dotted: bool = False
    link: str = ""


@dataclass(frozen=True, slots=True)
class Doubt:
    """A spot of a trace at which somebody should look, and why."""

    spot: Spot
    why: str


@dataclass(frozen=True, slots=True)
class Trace:
    """One wire on the page, from a pin or joint (``a``) to another (``b``), by every corner.

    ``broken``: a stretch that the diagram does not show (``?``).
    """

    key: str
    page: str
    spots: tuple[Spot, ...]
    a: str
    b: str
    colour: str = ""
    mm2: float | None = None
    state: State = "proposed"
    doubts: tuple[Doubt, ...] = ()
    broken: bool = False


@dataclass(frozen=True, slots=True)
class Crossing:
    """Two lines that cross where a stroke ends: not joined, but somebody should look. ``traces`` are the two."""

    key: str
    page: str
    spot: Spot
    traces: tuple[str, ...] = ()


Mark = Page | Part | Pin | Joint | Trace | Crossing


@dataclass(frozen=True, slots=True)
class Marks:
    """Everything marked on the pages of one job, by key."""

    pages: Mapping[str, Page] = field(default_factory=dict)
    parts: Mapping[str, Part] = field(default_factory=dict)
    pins: Mapping[str, Pin] = field(default_factory=dict)
    joints: Mapping[str, Joint] = field(default_factory=dict)
    traces: Mapping[str, Trace] = field(default_factory=dict)
    crossings: Mapping[str, Crossing] = field(default_factory=dict)

    def with_marks(self, *added: Mark) -> Marks:
        """With marks added, or put in the place of those with the same key."""
        held = {name: dict(getattr(self, name)) for name in KINDS.values()}
        for mark in added:
            held[KINDS[type(mark)]][mark.key] = mark
        return Marks(**held)

    def without(self, *keys: str) -> Marks:
        """Without some marks, and without what hung on them: a part's pins, the traces that ended there."""
        gone = set(keys)
        gone |= {pin.key for pin in self.pins.values() if pin.part in gone}
        gone |= {trace.key for trace in self.traces.values() if trace.a in gone or trace.b in gone}
        ends = [end for trace in self.traces.values() if trace.key not in gone for end in (trace.a, trace.b)]
        lost = {end for trace in self.traces.values() if trace.key in gone for end in (trace.a, trace.b)}
        gone |= {key for key in self.joints if key not in ends and key in lost}
        return Marks(
            **{
                name: {key: mark for key, mark in getattr(self, name).items() if key not in gone}
                for name in KINDS.values()
            }
        )

    def fresh(self, letter: str) -> str:
        """A key that is free: a letter and a number."""
        taken = [key for name in KINDS.values() for key in getattr(self, name) if key[:1] == letter]
        return f"{letter}{1 + max((int(key[1:]) for key in taken), default=0)}"

    def spot(self, end: str) -> Spot:
        """Where a pin or joint is."""
        return self.pins[end].spot if end in self.pins else self.joints[end].spot

    def page_of(self, end: str) -> str:
        """The key of the page on which a pin or joint is."""
        return self.parts[self.pins[end].part].page if end in self.pins else self.joints[end].page


KINDS: Mapping[type, str] = {
    Page: "pages",
    Part: "parts",
    Pin: "pins",
    Joint: "joints",
    Trace: "traces",
    Crossing: "crossings",
}


def to_json(marks: Marks) -> dict[str, Any]:
    """Marks as plain lists and numbers, coordinates to a hundredth."""
    return {name: [_plain(asdict(mark)) for mark in getattr(marks, name).values()] for name in KINDS.values()}


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6 if abs(value) < 10 else 2)
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


def from_json(data: Mapping[str, Any]) -> Marks:
    """Marks as they were kept. Raises `InputError` where they cannot be read."""
    held: dict[str, dict[str, Any]] = {}
    for kind, name in KINDS.items():
        try:
            made = [
                kind(**{key: _tuple(value) for key, value in entry.items()}) for entry in data.get(name, ())
            ]
        except (TypeError, ValueError, KeyError, AttributeError, RecursionError) as error:
            raise InputError(f"the marks of the diagram cannot be read ({name})") from error
        held[name] = {mark.key: mark for mark in made}
    # Raises `InputError` where a mark hangs on one that is not there.
    marks = Marks(**held)
    ends = marks.pins.keys() | marks.joints.keys()
    wrong = [trace.key for trace in marks.traces.values() if not {trace.a, trace.b} <= ends]
    wrong += [pin.key for pin in marks.pins.values() if pin.part not in marks.parts]
    wrong += [part.key for part in marks.parts.values() if part.page not in marks.pages]
    if wrong:
        raise InputError(f"the marks of the diagram do not fit together: {', '.join(wrong[:5])}")
    return marks


def _tuple(value: Any) -> Any:
    """Lists as tuples; the only mark within another is a doubt."""
    if isinstance(value, dict):
        return Doubt(_tuple(value["spot"]), str(value["why"]))
    return tuple(_tuple(item) for item in value) if isinstance(value, list) else value


def confirmed(marks: Marks, keys: Iterable[str] | None = None) -> Marks:
    """With parts and traces confirmed: those of ``keys``, or all that are proposed."""
    chosen = None if keys is None else set(keys)
    both: tuple[Part | Trace, ...] = (*marks.parts.values(), *marks.traces.values())
    held = [
        replace(mark, state="confirmed")
        for mark in both
        if mark.state == "proposed" and (chosen is None or mark.key in chosen)
    ]
    return marks.with_marks(*held)
