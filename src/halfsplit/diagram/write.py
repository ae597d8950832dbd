"""From marks to the notation: what is confirmed becomes circuit, and every name in it leads back to its marks."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from halfsplit.circuit.kinds import CODES, KINDS
from halfsplit.diagram.marks import Marks, Part, Trace
from halfsplit.diagram.naming import free_name
from halfsplit.joined import Joined

BATTERY_ENDS = frozenset(("30", "30a", "30b", "B+", "+12V", "12V"))
GROUND_ENDS = frozenset(("31", "31b", "GND"))
"""What a confirmed loose end of this name is, by DIN 72552, where the page shows no part there."""
RATING = "10 A"
"""What a fuse is written with while its own rating is not known; the notation must have one."""
NODES = ("splice", "ground", "mass")
"""Kinds that are one point without pins."""


@dataclass(frozen=True, slots=True)
class Written:
    """A circuit's text made from marks.

    ``marks_of``: name in the circuit (``K7``, ``K7.30``, ``wire F1.2 K7.30``) → keys of its marks. ``notes``: what was
    left out or assumed, in plain words.
    """

    text: str
    marks_of: Mapping[str, tuple[str, ...]]
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Draft:
    parts: dict[str, Part] = field(default_factory=dict)
    kinds: dict[str, str] = field(default_factory=dict)
    points: dict[str, str] = field(default_factory=dict)
    marks_of: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    wires: list[tuple[str, str, Trace]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    added: list[str] = field(default_factory=list)


def written(marks: Marks, title: str = "") -> Written:
    """The circuit that the confirmed and drawn marks describe."""
    traces = [trace for trace in marks.traces.values() if trace.state != "proposed"]
    draft = _Draft()
    _collect_parts(marks, traces, draft)
    _collect_wires(marks, traces, draft)
    lines = [f"title {title}", ""] if title else []
    lines += [*_declarations(draft), ""]
    for a, b, trace in draft.wires:
        label = " ".join(filter(None, (f"{trace.mm2:g}mm2" if trace.mm2 else "", trace.colour)))
        lines.append(f"{a} -- ? -- {b}" if trace.broken else f"{a} --{f'[{label}]--' if label else ''} {b}")
    battery, ground = (
        next((name for name, kind in draft.kinds.items() if kind == wanted), "")
        for wanted in ("battery", "ground")
    )
    if battery and ground and not any(f"{battery}.-" in (a, b) for a, b, _ in draft.wires):
        lines.append(f"{battery}.- -- {ground}")
        draft.notes.append(f"no page shows the battery's ground lead: {battery}.- is led to {ground}")
    lines.append("")
    switches = [name for name, kind in draft.kinds.items() if kind == "switch"]
    if switches:  # two states to begin with: all at rest, and all switched on
        on = ", ".join(f"{name} on" for name in switches)
        lines += ['state "at rest"', f'state "switched on"  {on}']
    return Written(
        "\n".join(lines).strip() + "\n",
        {name: tuple(dict.fromkeys(keys)) for name, keys in draft.marks_of.items()},
        tuple(dict.fromkeys(draft.notes)),
    )


# Parts and their pins


def _collect_parts(marks: Marks, traces: Iterable[Trace], draft: _Draft) -> None:
    used = {end for trace in traces for end in (trace.a, trace.b)}
    for part in marks.parts.values():
        if part.state != "proposed":
            held = draft.parts.setdefault(part.name, part)
            if held.kind != part.kind and held.key != part.key:
                draft.notes.append(
                    f"{part.name} is marked as {held.kind} and as {part.kind}: {held.kind} is taken"
                )
            draft.marks_of[part.name].append(part.key)
    for name, part in draft.parts.items():
        keys = draft.marks_of[name]
        pins = [pin for pin in marks.pins.values() if pin.part in keys]
        named = list(dict.fromkeys(pin.name for pin in pins))
        draft.kinds[name], points = _fitted(name, part.kind, named, draft)
        for pin in pins:
            draft.points[pin.key] = points[pin.name]
            if pin.key in used or points[pin.name] != name:
                draft.marks_of[points[pin.name]].append(pin.key)


def _fitted(name: str, kind: str, pins: list[str], draft: _Draft) -> tuple[str, dict[str, str]]:
    """The kind that the notation can hold, and pin as written on the page → point of the circuit."""
    if kind in NODES:
        return kind, dict.fromkeys(pins, name)
    known = KINDS[kind].pins
    if kind not in ("connector", "module", "switch") and not {*known, *KINDS[kind].optional}.issuperset(pins):
        if len(pins) <= len(known) and kind != "relay":
            free = [pin for pin in known if pin not in pins]
            points = {pin: pin if pin in known else free.pop(0) for pin in pins}
            draft.notes.append(
                f"pins {', '.join(pins)} of {name} are written as {', '.join(points.values())}"
            )
            return kind, {pin: f"{name}.{points[pin]}" for pin in pins}
        draft.notes.append(
            f"{name} has other pins than a {kind} has: written as a module, say what it does in the text"
        )
        kind = "module"
    signs = {pin: re.sub(r"[^A-Za-z0-9+\-/_]", "_", pin) or "1" for pin in pins}
    return kind, {pin: f"{name}.{sign}" for pin, sign in signs.items()}


# Wires


def _collect_wires(marks: Marks, traces: Sequence[Trace], draft: _Draft) -> None:
    ways: dict[str, list[Trace]] = defaultdict(list)
    for trace in traces:
        ways[trace.a].append(trace)
        ways[trace.b].append(trace)
    point = {end: draft.points[end] for end in ways if end in draft.points}
    for members in _groups(marks, traces, ways, draft):
        joints = [end for end in members if end not in draft.points]
        pins = [draft.points[end] for end in members if end in draft.points]
        name = pins[0] if pins else _joint_name(joints, marks, ways, draft)
        point |= dict.fromkeys(joints, name)
        if name and joints:
            draft.marks_of[name] += joints
    used: set[str] = set()
    count: Counter[frozenset[str]] = Counter()
    for trace in traces:
        a, b = point.get(trace.a, ""), point.get(trace.b, "")
        if not a or not b:
            draft.notes.append(f"a wire at {a or b or 'no part'} has a loose end and is left out")
        elif a != b:
            a, b = _side(a, draft, used), _side(b, draft, used)
            draft.wires.append((a, b, trace))
            pair = frozenset((a, b))
            count[pair] += 1
            number = f" #{count[pair]}" if count[pair] > 1 else ""
            draft.marks_of[f"wire {a} {b}{number}"].append(trace.key)


def _side(point: str, draft: _Draft, used: set[str]) -> str:
    """A cavity of a connector has two sides: the first wire comes in, the next goes out."""
    if draft.kinds.get(point.partition(".")[0]) != "connector":
        return point
    side = "out" if point in used else "in"
    used.add(point)
    return f"{point}:{side}"


def _groups(
    marks: Marks, traces: Sequence[Trace], ways: Mapping[str, list[Trace]], draft: _Draft
) -> list[list[str]]:
    """Joints that are one point: linked between pages, or with a bar between them on which nothing is written."""
    points = Joined[str]()
    root = points.root
    linked: dict[str, str] = {}
    for key in [end for end in ways if end in marks.joints and marks.joints[end].link]:
        points.join(key, linked.setdefault(marks.joints[key].link, key))
    labelled = {root(end) for trace in traces if trace.colour or trace.mm2 for end in (trace.a, trace.b)}
    has_pin: set[str] = set()
    for trace in sorted(traces, key=lambda trace: (trace.a in marks.pins) + (trace.b in marks.pins)):
        a, b = trace.a, trace.b
        if trace.colour or trace.mm2 or trace.broken or (a in marks.pins and b in marks.pins):
            continue
        pin, joint = (a, b) if a in marks.pins else (b, a)
        if pin in marks.pins:
            is_rail = draft.kinds.get(draft.points.get(pin, "").partition(".")[0]) in ("battery", "ground")
            if root(joint) in has_pin or len(ways[joint]) < 3 or not (is_rail or root(joint) in labelled):
                continue
            if marks.joints[joint].name or len(ways[pin]) > 1:
                continue
            has_pin.add(root(joint))
            points.join(pin, joint)
        elif min(len(ways[a]), len(ways[b])) > 1 and not (marks.joints[a].name and marks.joints[b].name):
            both = {root(a), root(b)}
            points.join(a, b)
            if both & labelled:
                labelled.add(root(b))
    return [members for members in points.groups(ways) if any(end in marks.joints for end in members)]


def _joint_name(joints: list[str], marks: Marks, ways: Mapping[str, list[Trace]], draft: _Draft) -> str:
    """The name of the point that some joints are: a splice, or what a confirmed loose end stands for; '' if loose."""
    links = [marks.joints[joint].link for joint in joints if marks.joints[joint].link]
    for kind, ends in (("battery", BATTERY_ENDS), ("ground", GROUND_ENDS)):
        if links and links[0] in ends:
            name = next((name for name, held in draft.kinds.items() if held == kind), "")
            if not name:
                name = "G1" if kind == "battery" else "GND31"
                draft.kinds[name] = kind
                draft.added.append(name)
                draft.notes.append(f"the ends {links[0]} are taken as {name}, which no page shows")
            return f"{name}.+" if kind == "battery" else name
    inside = {trace.key for joint in joints for trace in ways[joint] if {trace.a, trace.b} <= set(joints)}
    leaving = {trace.key for joint in joints for trace in ways[joint]} - inside
    if len(leaving) < 2:
        return ""
    names = [marks.joints[joint].name for joint in joints]
    fit = [name for name in names if re.fullmatch(r"[A-Za-z][A-Za-z0-9_]*", name) and name not in draft.parts]
    splice = fit[0] if fit else free_name("SP", draft.parts.keys() | draft.kinds.keys())
    draft.kinds[splice] = "splice"
    draft.added.append(splice)
    return splice


# Text


def _declarations(draft: _Draft) -> list[str]:
    lines = []
    for name in (*draft.parts, *draft.added):
        kind, part = draft.kinds[name], draft.parts.get(name)
        words = re.sub(r'["\n]', "", part.words).strip() if part else ""
        value = ""
        match = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?) ?(A|W|V|ohm|kohm)", part.value if part else "")
        if kind == "switch":
            value = "off on"
        elif match and match[2].removeprefix("k") in KINDS[kind].units:
            value = f"{match[1]} {match[2]}"
        elif kind in ("fuse", "breaker"):
            draft.notes.append(f"the rating of {name} is not known: written as {RATING}")
            value = RATING
        letters = re.match(r"[A-Z]+(?=[0-9])", name)
        implied = letters is not None and CODES.get(letters[0]) == kind
        if value or words or not implied or kind in ("module", "switch"):
            lines.append(" ".join(filter(None, (kind, name, value, f'"{words}"' if words else ""))))
            points = [point.partition(".") for point in dict.fromkeys(draft.points.values())]
            pins = [pin for owner, _, pin in points if owner == name and pin]
            # A switch with pins of its own joins its first to each other; which, the technician says in the text.
            if kind == "switch" and not {"1", "2"}.issuperset(pins):
                lines += [f"  joins on {pins[0]} {pin}" for pin in pins[1:]]
    return lines
