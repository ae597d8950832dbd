"""``proposal``: what is made of a page: parts with pins, wires with colour and cross-section, doubtful joints."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import shapely  # type: ignore[import-untyped]
from networkx.utils import UnionFind

from halfsplit.circuit.kinds import CODES, KINDS
from halfsplit.diagram.bodies import Bodies, bodies_of
from halfsplit.diagram.closing import sorted_strokes
from halfsplit.diagram.lines import Strokes
from halfsplit.diagram.marks import Crossing, Doubt, Joint, Marks, Page, Part, Pin, Trace
from halfsplit.diagram.naming import (
    described,
    free_name,
    named_parts,
    part_codes,
    pin_names,
    texts_of,
    wire_texts,
)
from halfsplit.diagram.sheet import Box, Sheet, Word, around, gap, grown, holds
from halfsplit.diagram.terms import FEEDS, LETTERS, Code, WireText, kind_of, reads_as_pin
from halfsplit.diagram.tidy import tidied
from halfsplit.diagram.wiring import Net, Node, Stretch, net_of

VALUE = re.compile(r"[0-9]+(?:[.,][0-9]+)? ?(?:A|W|V|Ω|ohm|kΩ|kohm)")


@dataclass(slots=True)
class Device:
    """One part as it is made out: its bodies, its pins (numbers of nodes), its name and what is written there."""

    bodies: list[int]
    box: Box
    pins: list[int] = field(default_factory=list)
    name: str = ""
    letters: str = ""
    pin: str = ""
    words: list[str] = field(default_factory=list)
    value: str = ""


def proposal(sheet: Sheet, page: Page) -> Marks:
    """What the reader proposes for a page. Nothing in it is circuit until somebody confirms it."""
    strokes = sorted_strokes(sheet)
    codes = part_codes(sheet.words)
    bodies = bodies_of(strokes, sheet.words, [word for word, _ in codes])
    net = tidied(net_of(bodies, strokes), bodies, strokes)
    texts = texts_of(sheet.words)
    wires = wire_texts(texts, net, strokes.em)
    devices = _devices(net, bodies, strokes, sheet.words)
    left = [code for code in codes if code[0] not in wires.words and LETTERS.get(code[1].letters) != "splice"]
    used = _name(devices, left, net, bodies, strokes)
    free = [word for word in sheet.words if word not in wires.words and word not in used]
    names = _pin_words(devices, net, free, strokes.em)
    rest = [word for word in free if word not in names.values()]
    _describe(devices, rest, strokes.em)
    return _marked(page, net, devices, names, wires.of, rest, strokes.em)


# Devices


def _devices(net: Net, bodies: Bodies, strokes: Strokes, words: Sequence[Word]) -> list[Device]:
    """Bodies with pins, those of one part together: joined by a dashed line, or cells of one connector."""
    pins: dict[int, list[int]] = defaultdict(list)
    for number, node in enumerate(net.nodes):
        if node.body is not None:
            pins[node.body].append(number)
    same = UnionFind(pins)
    for a, b in (*_linked(bodies, pins, strokes), *_cells(bodies, pins, words, strokes.em)):
        same.union(a, b)
    groups: dict[int, list[int]] = defaultdict(list)
    for body in pins:
        groups[same[body]].append(body)
    return [
        Device(
            group,
            around(bodies.bodies[body].box for body in group),
            [pin for body in group for pin in pins[body]],
        )
        for group in groups.values()
    ]


def _linked(bodies: Bodies, known: Iterable[int], strokes: Strokes) -> Iterable[tuple[int, int]]:
    """Bodies that a dashed line joins: a coil and its contact."""
    for dash in strokes.dashes:
        ends = []
        for end in (dash.a, dash.b):
            near = [(gap(bodies.bodies[body].box, (*end, *end)), body) for body in known]
            ends.append(min(near, default=(math.inf, -1)))
        (first, a), (second, b) = ends
        if a != b and max(first, second) < 0.9 * strokes.em:
            yield a, b


def _cells(
    bodies: Bodies, pins: Mapping[int, Sequence[int]], words: Sequence[Word], em: float
) -> Iterable[tuple[int, int]]:
    """Boxes side by side that each hold the number of a cavity: one connector."""
    cells = [
        body
        for body in pins
        if len(pins[body]) <= 2
        and any(reads_as_pin(word.text) and holds(bodies.bodies[body].box, word.box, 0.3) for word in words)
        and bodies.bodies[body].has("shape")
    ]
    for number, a in enumerate(cells):
        for b in cells[number + 1 :]:
            first, other = bodies.bodies[a].box, bodies.bodies[b].box
            alike = abs((first[2] - first[0]) - (other[2] - other[0])) + abs(
                (first[3] - first[1]) - (other[3] - other[1])
            )
            if gap(first, other) < 0.2 * em and alike < 0.5 * em:
                yield a, b


def _name(
    devices: Sequence[Device], codes: Sequence[tuple[Word, Code]], net: Net, bodies: Bodies, strokes: Strokes
) -> set[Word]:
    """Gives each device the name that stands near it; the words used for that."""
    boxes = [bodies.bodies[body].box for device in devices for body in device.bodies]
    owners = [device for device in devices for _ in device.bodies]
    pins = [
        [net.nodes[pin].spot for pin in device.pins if net.nodes[pin].body == body]
        for device in devices
        for body in device.bodies
    ]
    used = set()
    for row, column in named_parts(boxes, codes, pins, strokes.em).items():
        word, code = codes[column]
        device = owners[row]
        if device.name and gap(device.box, word.box) >= 0:
            continue
        device.name, device.letters, device.pin = code.name, code.letters, code.pin
        used.add(word)
    return used


# Pins


def _pin_words(devices: Sequence[Device], net: Net, words: Sequence[Word], em: float) -> dict[int, Word]:
    """Number of a node → the word that names it as a pin."""
    leads: dict[int, list[Stretch]] = defaultdict(list)
    for stretch in net.stretches:
        leads[stretch.a].append(stretch)
        leads[stretch.b].append(stretch)
    nameless = [(pin, device) for device in devices if not device.pin for pin in device.pins if leads[pin]]
    names = pin_names(
        [net.nodes[pin].spot for pin, _ in nameless],
        [shapely.MultiLineString([stretch.spots for stretch in leads[pin]]) for pin, _ in nameless],
        [device.box for _, device in nameless],
        words,
        em,
    )
    return {nameless[row][0]: word for row, word in names.items()}


def _describe(devices: Sequence[Device], words: Sequence[Word], em: float) -> None:
    """Values and words of each device; a device without a code takes its words for a name."""
    texts = texts_of(words)
    for number, lines in described([device.box for device in devices], texts, em, reach=3.0).items():
        device = devices[number]
        for line in lines:
            if VALUE.fullmatch(line.text) and not device.value:
                device.value = line.text.replace(",", ".").replace("Ω", "ohm")
            elif re.search(r"[A-Za-z]{2}", line.text) and not (
                holds(device.box, line.box) and len(line.text) < 3
            ):
                device.words.append(line.text)


# The marks


def _marked(
    page: Page,
    net: Net,
    devices: Sequence[Device],
    names: Mapping[int, Word],
    wires: Mapping[int, WireText],
    rest: Sequence[Word],
    em: float,
) -> Marks:
    marks = Marks().with_marks(page)
    ends: dict[int, str] = {}
    taken = {device.name for device in devices}
    parts: list[Part] = []
    pins: list[Pin] = []
    for device in devices:
        kind = kind_of(device.letters, " ".join(device.words), len(device.pins))
        if not device.name:
            device.name = _made_name(device, kind, taken)
            taken.add(device.name)
        key = f"p{len(parts) + 1}"
        parts.append(
            Part(
                key,
                page.key,
                device.name,
                kind,
                grown(device.box, 0.2 * em),
                " ".join(device.words)[:80],
                device.value,
            )
        )
        for number, name in _named_pins(device, kind, net, names).items():
            ends[number] = f"n{len(pins) + 1}"
            pins.append(Pin(ends[number], key, name, net.nodes[number].spot))
    joints: list[Joint] = []
    for number, node in enumerate(net.nodes):
        if number not in ends:
            ends[number] = f"j{len(joints) + 1}"
            joints.append(
                Joint(ends[number], page.key, node.spot, _end_name(node, number, net, rest, em), node.dotted)
            )
    traces = [
        _trace(f"t{number + 1}", page.key, stretch, ends, wires.get(number, WireText()))
        for number, stretch in enumerate(net.stretches)
    ]
    return marks.with_marks(*parts, *pins, *joints, *traces, *_crossings(page, net, traces, em))


def _made_name(device: Device, kind: str, taken: Iterable[str]) -> str:
    """A name for a part that has no code: its words if they are few, else the letter of its kind and a number."""
    known = set(taken)
    words = re.findall(r"[A-Za-z][A-Za-z0-9]*", " ".join(device.words[:1]))
    name = "_".join(words)[:24]
    if words and len(words) <= 4 and name not in known and name.lower() not in KINDS:
        return name
    letter = next(
        (code for code, meaning in CODES.items() if meaning == kind),
        "E" if kind in ("ground", "heater") else "U",
    )
    return free_name("GND" if kind == "ground" else letter, lambda name: name in known)


def _named_pins(device: Device, kind: str, net: Net, names: Mapping[int, Word]) -> dict[int, str]:
    """Node → name of the pin: as written, by the kind's own pins, or numbered from the top."""
    named = {pin: names[pin].text for pin in device.pins if pin in names}
    if device.pin:
        return dict.fromkeys(device.pins, device.pin)
    if kind == "ground":
        return dict.fromkeys(device.pins, "")
    usual = list(KINDS[kind].pins) if kind in KINDS and len(KINDS[kind].pins) == len(device.pins) else []
    left = [name for name in (usual or map(str, range(1, 200))) if name not in named.values()]
    for pin in sorted(
        device.pins, key=lambda pin: (round(net.nodes[pin].spot[1], 1), net.nodes[pin].spot[0])
    ):
        if pin not in named:
            named[pin] = left.pop(0) if left else free_name("", lambda name: name in named.values())
    return named


def _end_name(node: Node, number: int, net: Net, words: Sequence[Word], em: float) -> str:
    """What stands at a loose end or a joint: a terminal, the name of a signal, the name of a splice."""
    ways = sum(number in (stretch.a, stretch.b) for stretch in net.stretches)
    near = [
        (gap(word.box, (*node.spot, *node.spot)), word.text)
        for word in words
        if word.text in FEEDS or re.match(r"[A-Za-z0-9+-]", word.text)
    ]
    away, text = min(near, default=(math.inf, ""))
    if ways == 1:
        return text if away < 2.0 * em else ""
    splice = [(away, text) for away, text in near if re.fullmatch(r"(?:SP|[A-Z]{1,2})[0-9]{1,4}", text)]
    away, text = min(splice, default=(math.inf, ""))
    return text if away < 2.5 * em and node.dotted else ""


def _trace(key: str, page: str, stretch: Stretch, ends: Mapping[int, str], text: WireText) -> Trace:
    doubts = tuple(Doubt(spot, why) for spot, why in dict.fromkeys(stretch.doubts))
    return Trace(
        key, page, stretch.spots, ends[stretch.a], ends[stretch.b], text.colour, text.mm2, doubts=doubts
    )


def _crossings(page: Page, net: Net, traces: Sequence[Trace], em: float) -> Iterable[Crossing]:
    lines = [shapely.LineString(trace.spots) for trace in traces]
    for number, spot in enumerate(net.crossings, 1):
        point = shapely.Point(spot)
        near = tuple(
            trace.key
            for trace, line in zip(traces, lines, strict=True)
            if shapely.distance(line, point) < 0.2 * em
        )
        if len(near) > 1:
            yield Crossing(f"c{number}", page.key, spot, near[:2])
