"""``proposal``: what is made of a page: parts with pins, wires with colour and cross-section, doubtful joints."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from itertools import chain, combinations, count

import shapely  # type: ignore[import-untyped]

from halfsplit.circuit.kinds import CODES, KINDS
from halfsplit.diagram.bodies import Body, bodies_of
from halfsplit.diagram.lines import Strokes, sorted_strokes
from halfsplit.diagram.marks import Crossing, Doubt, Joint, Marks, Page, Part, Pin, Trace
from halfsplit.diagram.naming import (
    Device,
    describe_devices,
    free_name,
    name_devices,
    pin_names,
    texts_of,
    wire_texts,
)
from halfsplit.diagram.sheet import Sheet, Word, around, gap, grown, holds
from halfsplit.diagram.terms import FEEDS, LETTERS, WireText, code_of, kind_of, reads_as_pin
from halfsplit.diagram.wiring import Net, Node, net_of
from halfsplit.joined import Joined


def proposal(sheet: Sheet, page: Page) -> Marks:
    """What the reader proposes for a page. Nothing in it is circuit until somebody confirms it."""
    strokes = sorted_strokes(sheet)
    codes = [(word, code) for word in sheet.words if (code := code_of(word.text)) is not None]
    bodies = bodies_of(strokes, sheet.words, [word for word, _ in codes])
    net = net_of(bodies, strokes)
    wires, wire_words = wire_texts(texts_of(sheet.words), net, strokes.em)
    devices = _devices(net, bodies.bodies, strokes, sheet.words)
    left = [
        (word, code)
        for word, code in codes
        if word not in wire_words and LETTERS.get(code.letters) != "splice"
    ]
    used = wire_words | name_devices(devices, left, net, bodies.bodies, strokes.em)
    free = [word for word in sheet.words if word not in used]
    names = pin_names(devices, net, free, strokes.em)
    rest = [word for word in free if word not in names.values()]
    describe_devices(devices, rest, strokes.em)
    return _marked(page, net, devices, names, wires, rest, strokes.em)


def _devices(net: Net, bodies: Sequence[Body], strokes: Strokes, words: Sequence[Word]) -> list[Device]:
    """Bodies with pins, those of one part together: joined by a dashed line, or cells of one connector."""
    pins: dict[int, list[int]] = defaultdict(list)
    for number, node in enumerate(net.nodes):
        if node.body is not None:
            pins[node.body].append(number)
    same = Joined[int]()
    for dash in strokes.dashes:  # a coil and its contact
        (near, a), (far, b) = (
            min(((gap(bodies[body].box, (*end, *end)), body) for body in pins), default=(math.inf, -1))
            for end in (dash.a, dash.b)
        )
        if max(near, far) < 0.9 * strokes.em:
            same.join(a, b)
    for a, b in combinations(_cells(bodies, pins, words), 2):
        first, second = bodies[a].box, bodies[b].box
        wider, taller = (abs((first[i + 2] - first[i]) - (second[i + 2] - second[i])) for i in (0, 1))
        if wider + taller < 0.5 * strokes.em and gap(first, second) < 0.2 * strokes.em:
            same.join(a, b)
    return [
        Device(
            group,
            around(bodies[body].box for body in group),
            [pin for body in group for pin in pins[body]],
        )
        for group in same.groups(pins)
    ]


def _cells(bodies: Sequence[Body], pins: Mapping[int, Sequence[int]], words: Sequence[Word]) -> list[int]:
    """Boxes that each hold the number of a cavity: side by side they are one connector."""
    return [
        body
        for body in pins
        if len(pins[body]) <= 2
        and bodies[body].has("shape")
        and any(reads_as_pin(word.text) and holds(bodies[body].box, word.box, 0.3) for word in words)
    ]


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
    ends: dict[int, str] = {}
    taken = {device.name for device in devices}
    parts: list[Part] = []
    pins: list[Pin] = []
    for key, device in ((f"p{number}", device) for number, device in enumerate(devices, 1)):
        words = " ".join(device.words)
        kind = kind_of(device.letters, words, len(device.pins))
        name = device.name or _made_name(device, kind, taken)
        taken.add(name)
        parts.append(Part(key, page.key, name, kind, grown(device.box, 0.2 * em), words[:80], device.value))
        for number, pin in _named_pins(device, kind, net, names).items():
            ends[number] = f"n{len(pins) + 1}"
            pins.append(Pin(ends[number], key, pin, net.nodes[number].spot))
    joints: list[Joint] = []
    for number, node in enumerate(net.nodes):
        if number not in ends:
            ends[number] = f"j{len(joints) + 1}"
            name = _end_name(node, number, net, rest, em)
            joints.append(Joint(ends[number], page.key, node.spot, name, node.dotted))
    traces: list[Trace] = []
    for number, stretch in enumerate(net.stretches):
        text = wires.get(number, WireText())
        doubts = tuple(Doubt(spot, why) for spot, why in dict.fromkeys(stretch.doubts))
        a, b = ends[stretch.a], ends[stretch.b]
        key = f"t{number + 1}"
        traces.append(Trace(key, page.key, stretch.spots, a, b, text.colour, text.mm2, doubts=doubts))
    return Marks().with_marks(page, *parts, *pins, *joints, *traces, *_crossings(page, net, traces, em))


def _made_name(device: Device, kind: str, taken: Container[str]) -> str:
    """A name for a part that has no code: its words if they are few, else the letter of its kind and a number."""
    words = re.findall(r"[A-Za-z][A-Za-z0-9]*", " ".join(device.words[:1]))
    name = "_".join(words)[:24]
    if words and len(words) <= 4 and name not in taken and name.lower() not in KINDS:
        return name
    codes = [code for code, meaning in CODES.items() if meaning == kind]
    letter = codes[0] if codes else "E" if kind == "heater" else "U"
    return free_name("GND" if kind == "ground" else letter, taken)


def _named_pins(device: Device, kind: str, net: Net, names: Mapping[int, Word]) -> dict[int, str]:
    """Node → name of the pin: as written, by the kind's own pins, or numbered from the top."""
    if device.pin or kind == "ground":
        return dict.fromkeys(device.pins, device.pin)
    named = {pin: names[pin].text for pin in device.pins if pin in names}
    usual = KINDS[kind].pins if kind in KINDS and len(KINDS[kind].pins) == len(device.pins) else ()
    left = (name for name in chain(usual, map(str, count(1))) if name not in named.values())
    spots = {pin: net.nodes[pin].spot for pin in device.pins if pin not in named}
    for pin in sorted(spots, key=lambda pin: (round(spots[pin][1], 1), spots[pin][0])):
        named[pin] = next(left)
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


def _crossings(page: Page, net: Net, traces: Sequence[Trace], em: float) -> Iterable[Crossing]:
    tree = shapely.STRtree([shapely.LineString(trace.spots) for trace in traces])
    for number, spot in enumerate(net.crossings, 1):
        near = sorted(tree.query(shapely.Point(spot), predicate="dwithin", distance=0.2 * em).tolist())
        if len(near) > 1:
            yield Crossing(f"c{number}", page.key, spot, tuple(traces[hit].key for hit in near[:2]))
