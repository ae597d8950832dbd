"""Changes of a circuit's text as a tap makes them: a part added to a path, renamed, described; a wire given its colour.

Each takes the notation as it stands and gives it back changed, comments and layout kept. The result is read again: one
that has a mistake which was not there before is refused with that mistake, so that taps never break a sound text.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count

from halfsplit.circuit.circuit import Circuit
from halfsplit.circuit.kinds import CODES
from halfsplit.circuit.model import Part, Wire
from halfsplit.errors import ConflictError, InputError
from halfsplit.notation.checked import check_text
from halfsplit.notation.scope import CODE
from halfsplit.notation.words import KEYWORDS, without_comment

NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,19}")
_KEPT = re.compile(r'("[^"]*"|--\[[^\]]*\]--|#.*$)')
"""What a renaming leaves alone: words in quotation marks, what a wire is like, comments."""
_LINK = re.compile(r"--(?:\[([^\]]*)\]--)?")
_COLOUR = re.compile(r"[A-Z]{2}(?:/[A-Z]{2})?|GNYE")
_SECTION = re.compile(r"[0-9.]+mm2|[0-9]+AWG")
_WORDS = re.compile(r'(\bat\s+)?"([^"]*)"')
_AMOUNT = re.compile(r"\s(\d+(?:\.\d+)?\s*(?:mohm|kohm|Mohm|ohm|mA|mV|kW|kV|A|V|W))(?=\s|$)")
COLOURS = ("BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK", "TQ")
"""Letters of IEC 60757."""
LONGEST_WORDS = 60


@dataclass(frozen=True)
class Addition:
    """A kind of part as a tap adds it: ``code`` of its name, how it is declared, the pins that the path passes."""

    code: str
    declared: str
    enters: str = ""
    leaves: str = ""


ADDITIONS: dict[str, Addition] = {
    "fuse": Addition("F", "fuse {} 10 A", "1", "2"),
    "switch": Addition("S", "switch {} off on", "1", "2"),
    "relay contact": Addition("K", "relay {}", "30", "87"),
    "relay coil": Addition("K", "relay {}", "86", "85"),
    "connector": Addition("X", "connector {}", "1", "1"),
    "splice": Addition("SP", ""),
    "lamp": Addition("H", "lamp {} 21 W", "1", "2"),
    "motor": Addition("M", "motor {} 5 A", "1", "2"),
    "heater": Addition("EH", "heater {} 120 W", "1", "2"),
    "valve": Addition("Y", "solenoid {} 1 A", "1", "2"),
    "control unit": Addition("A", "module {}\n  feed 30\n  earth 31", "30", "31"),
    "ground": Addition("E", "ground {}"),
}
"""What a tap adds; the values are those of common practice, no source."""
EMPTY = """title  Circuit of the complaint
battery G1
ground E1 "battery to body"

G1.- --[16mm2]-- E1
"""
"""A sheet with the battery and its ground, to add to."""


def circuit_of_text(text: str) -> Circuit:
    """The circuit that a text says. Raises ConflictError where it has mistakes."""
    circuit = check_text(text).circuit
    if circuit is None:
        raise ConflictError("the text has mistakes: correct them there first, then go on by taps")
    return circuit


def _sound(before: str, lines: Sequence[str] | str) -> str:
    """The changed text, unless the change made a mistake."""
    after = lines if isinstance(lines, str) else "\n".join(lines)
    checked = check_text(after)
    if checked.circuit is None and check_text(before).circuit is not None:
        worst = next(problem for problem in checked.problems if problem.severity == "error")
        raise InputError(f"that cannot be done by a tap: {worst.message}", remedy="change it in the text")
    return after


# Names and words


def rename(text: str, old: str, new: str) -> str:
    """Another name for a part, wherever it stands. Raises InputError where the name is taken or no name."""
    circuit = circuit_of_text(text)
    part = _part(circuit, old)
    if new == old:
        return text
    if not NAME.fullmatch(new) or new in KEYWORDS:
        raise InputError(f"{new[:40]!r} is no name of a part", remedy="a letter, then letters and digits")
    if new in circuit.parts or new in circuit.model.stages:
        raise InputError(f"{new} is there already", remedy="choose another name")
    lines = text.split("\n")
    code = CODE.match(new)
    if not part.declared and not (code and CODES.get(code[1]) == part.kind):
        lines = _declare(lines, f"{part.kind} {old}")
    token = rf"(?<![A-Za-z0-9_.]){re.escape(old)}(?![A-Za-z0-9_])"
    changed = [_outside(line, token, new) for line in lines]
    return _sound(text, [line.replace(f'"{old} on"', f'"{new} on"') for line in changed])


def _outside(line: str, token: str, new: str) -> str:
    """The line with something else in the place of a token outside quotation marks, brackets and comments."""
    pieces = _KEPT.split(line)
    pieces[::2] = [re.sub(token, new, piece) for piece in pieces[::2]]
    return "".join(pieces)


def describe(text: str, name: str, *, words: str = "", place: str = "", value: str = "") -> str:
    """What a part is, where it is, and its value ('15 A'); an empty one leaves what is there."""
    part = _part(circuit_of_text(text), name)
    lines = text.split("\n")
    if not part.declared:
        lines = _declare(lines, f"{part.kind} {name}")
    number = _declared_at(lines, part)
    bare = without_comment(lines[number])
    rest = lines[number][len(bare) :]
    if value.strip():
        start = re.search(rf"\b{re.escape(name)}\b", bare)
        head = start.end() if start else len(bare)
        amount = _AMOUNT.search(bare, head, head + len(bare[head:].partition('"')[0]))
        first, last = amount.span(1) if amount else (head, head)
        bare = f"{bare[:first]}{'' if amount else ' '}{value.strip()}{bare[last:]}"
    if words.strip() and words.strip() != part.words:
        bare = _with_text(bare, quotable(words), at=False)
    if place.strip() and place.strip() != part.place:
        bare = _with_text(bare, quotable(place), at=True)
    lines[number] = bare + rest
    return _sound(text, lines)


def _with_text(bare: str, words: str, *, at: bool) -> str:
    mark = f'at "{words}"' if at else f'"{words}"'
    for match in _WORDS.finditer(bare):
        if bool(match[1]) == at:
            return f"{bare[: match.start()]}{mark}{bare[match.end() :]}"
    place = None if at else re.search(r'\s+at\s+"', bare)
    cut = place.start() if place else len(bare)
    return f"{bare[:cut]} {mark}{bare[cut:]}"


def quotable(text: str) -> str:
    """Words as they may stand in quotation marks in a circuit's text."""
    return " ".join(re.sub(r'["#\x00-\x1f\x7f]', " ", text).split())[:LONGEST_WORDS]


def repin(text: str, name: str, old: str, new: str) -> str:
    """Another pin or cavity, in the paths and in the lines under a control unit."""
    part = _part(circuit_of_text(text), name)
    if not re.fullmatch(r"[A-Za-z0-9+\-/_]{1,8}", new):
        raise InputError(f"{new[:20]!r} is no pin", remedy="letters and digits")
    if new in part.pins:
        raise InputError(f"pin {new} of {name} is there already", remedy="choose another")
    token = rf"(?<![A-Za-z0-9_.]){re.escape(name)}\.{re.escape(old)}(?![A-Za-z0-9_+\-/])(?!\.\d)"
    lines = [_outside(line, token, f"{name}.{new}") for line in text.split("\n")]
    if part.kind == "module" and part.declared:
        alone = rf"(?<![\w.]){re.escape(old)}(?![\w.])(?!\s*(?:m?A|m?V|[kMm]?ohm|k?Hz|min|%|W)\b)"
        for number in _under(lines, _declared_at(lines, part)):
            lines[number] = _outside(lines[number], alone, new)
    return _sound(text, lines)


def _under(lines: Sequence[str], head: int) -> Iterator[int]:
    """The indented lines below one."""
    for number in range(head + 1, len(lines)):
        if lines[number].strip() and not lines[number][0].isspace():
            return
        yield number


# Wires


def colour(text: str, wire: Wire, code: str) -> str:
    """A wire with one colour more: the first is its base, the second its stripe, a third begins anew; '' for none."""
    if code and code not in COLOURS:
        raise InputError(f"{code[:10]!r} is no colour", remedy=f"one of {', '.join(COLOURS)}")
    plain = code and wire.colour and "/" not in wire.colour and wire.colour not in (code, "GNYE")
    return _of_wire(text, wire, _COLOUR, f"{wire.colour}/{code}" if plain else code)


def section(text: str, wire: Wire, mm2: str) -> str:
    """A wire with its cross-section in mm2."""
    if not re.fullmatch(r"\d{1,3}(?:\.\d{1,2})?", mm2):
        raise InputError(f"{mm2[:10]!r} is no cross-section", remedy="write it like 2.5")
    return _of_wire(text, wire, _SECTION, f"{mm2}mm2")


def _of_wire(text: str, wire: Wire, kind: re.Pattern[str], new: str) -> str:
    if wire.unknown:
        raise InputError(
            "that stretch is not known yet: it has no colour", remedy="draw it in the text first"
        )
    lines = text.split("\n")
    line, start = lines[wire.at.line - 1], wire.at.column - 1
    dashes = _LINK.match(line, start)
    if not dashes:
        raise ConflictError("the text has changed: load the page again")
    details = [word for word in (dashes[1] or "").split() if not kind.fullmatch(word)]
    said = sorted(
        filter(None, (new, *details)),
        key=lambda word: 0 if _SECTION.fullmatch(word) else 1 if _COLOUR.fullmatch(word) else 2,
    )
    link = f"--[{' '.join(said)}]--" if said else "--"
    lines[wire.at.line - 1] = line[: dashes.start()] + link + line[dashes.end() :]
    return _sound(text, lines)


# Paths


@dataclass(frozen=True)
class Added:
    """The text with one thing more in a path: the part, and the point from which the path goes on ('' at its end)."""

    text: str
    part: str
    end: str


def add(text: str, end: str, kind: str) -> Added:
    """A new part of this kind at the end of a path. Raises InputError for an unknown kind or point."""
    circuit = circuit_of_text(text)
    if kind not in ADDITIONS:
        raise InputError(f"{kind[:40]!r} cannot be added by a tap", remedy=f"one of {', '.join(ADDITIONS)}")
    made = ADDITIONS[kind]
    taken = circuit.parts.keys() | circuit.model.stages.keys()
    name = next(name for number in count(1) if (name := f"{made.code}{number}") not in taken)
    lines = text.split("\n")
    if made.declared:
        lines = _declare(lines, made.declared.format(name))
    lines = _joined(lines, circuit, end, f"{name}.{made.enters}" if made.enters else name)
    if kind == "switch":
        # A state in which the new switch alone is on, and one with all of them.
        begun = any(line.startswith("state ") for line in lines)
        switches = [part.name for part in circuit.parts.values() if part.kind == "switch"]
        own = [*([] if begun else ['state "off"']), f'state "{name} on"  {name} on']
        both = [f"{switch} {circuit.parts[switch].settings[1]}" for switch in switches] + [f"{name} on"]
        every = [f'state "all on"  {", ".join(both)}'] if switches else []
        lines = [line for line in lines if not line.startswith('state "all on"')]
        while lines and not lines[-1].strip():
            lines.pop()
        lines += [*own, *every, ""]
    leaves = f"{name}.{made.leaves}" if made.leaves else name
    return Added(_sound(text, lines), name, "" if kind == "ground" else leaves)


def join(text: str, end: str, to: str) -> Added:
    """The path led on to a point that is there already; through a connector's cavity or a splice it goes on."""
    circuit = circuit_of_text(text)
    name = to.partition(".")[0]
    part = _part(circuit, name)
    lines = _joined(text.split("\n"), circuit, end, to)
    # The pin on the other side, where no wire is at it yet.
    pin = ACROSS.get(to.partition(".")[2], "")
    free = pin in part.pins and part.kind != "module" and f"{name}.{pin}" not in wired(circuit)
    goes_on = to if part.kind in ("connector", "splice") else f"{name}.{pin}" if free else ""
    return Added(_sound(text, lines), name, goes_on)


ACROSS = {"30": "87", "87": "30", "86": "85", "85": "86", "1": "2", "2": "1"}
"""Pin by which a path enters a part → the one by which it leaves."""


def wired(circuit: Circuit) -> frozenset[str]:
    """The points at which a wire ends."""
    return frozenset(end for wire in circuit.model.wires for end in wire.ends)


def _joined(lines: list[str], circuit: Circuit, end: str, to: str) -> list[str]:
    """``-- to`` written after ``end``: in the path that ends there, or as a path of its own."""
    name, _, pin = end.partition(".")
    part = _part(circuit, name)
    if part.kind not in ("splice", "ground", "mass", "connector") and pin not in part.pins:
        raise InputError(f"{end[:40]!r} is no point to go on from", remedy="choose one of the points")
    through = part.pins[0] if len(part.pins) == 2 and pin == part.pins[1] else ""
    for number, line in enumerate(lines):
        bare = without_comment(line)
        if "--" not in bare or bare[:1].isspace() or not _is_path(bare):
            continue
        if through and bare.endswith((f" {name}.{through}", f"]--{name}.{through}")):
            bare = bare[: -len(f".{through}")]
        elif not bare.endswith(f" {end}"):
            continue
        rest = line[len(without_comment(line)) :]
        return [*lines[:number], f"{bare} -- {to}{rest}", *lines[number + 1 :]]
    at = max((number for number, line in enumerate(lines) if _is_path(without_comment(line))), default=-1)
    after = at + 1 if at >= 0 else len(lines)
    return [*lines[:after], f"{end} -- {to}", *lines[after:]]


def _is_path(bare: str) -> bool:
    return "--" in _KEPT.sub(lambda kept: "--" if kept[0].startswith("--") else "", bare)


def _declare(lines: list[str], declared: str) -> list[str]:
    """The lines with a declaration more, before the first path."""
    at = next((number for number, line in enumerate(lines) if _is_path(without_comment(line))), len(lines))
    while at and (not lines[at - 1].strip() or lines[at - 1].lstrip().startswith("#")):
        at -= 1
    return [*lines[:at], *declared.split("\n"), *lines[at:]]


def _declared_at(lines: Sequence[str], part: Part) -> int:
    """The line in which a part is declared."""
    wanted = re.compile(rf"{part.kind}\s+{re.escape(part.name)}(?![A-Za-z0-9_])")
    declared = next((number for number, line in enumerate(lines) if wanted.match(line)), None)
    if declared is None:
        raise ConflictError(f"{part.name} comes from an included pattern: change it in the text")
    return declared


def _part(circuit: Circuit, name: str) -> Part:
    if name not in circuit.parts:
        raise InputError(f"there is no part {name[:40]!r}", remedy="choose one of the list")
    return circuit.parts[name]


def remove(text: str, name: str) -> str:
    """The text without a part: its declaration, its places in states and reaches; paths close behind it."""
    part = _part(circuit_of_text(text), name)
    lines = text.split("\n")
    gone = set()
    if part.declared:
        head = _declared_at(lines, part)
        gone = {head, *(number for number in _under(lines, head) if lines[number].strip())}
    kept = []
    for number, line in enumerate(lines):
        bare = without_comment(line)
        own = re.match(rf"(?:reach|suspect)\s+{re.escape(name)}(?![A-Za-z0-9_])", bare)
        if number in gone or own:
            continue
        short: str | None = bare
        state = re.match(r'state\s+"[^"]*"', bare)
        if _is_path(bare):
            short = _without(bare, name)
        elif state:
            items = [item.strip() for item in bare[state.end() :].split(",")]
            left = [item for item in items if item and not re.match(rf"{re.escape(name)}\s", item)]
            short = f"{state[0]}  {', '.join(left)}".rstrip() if left != items else bare
        if short is not None:
            kept.append(line if short == bare else short + line[len(bare) :])
    return _sound(text, kept)


def _without(bare: str, name: str) -> str | None:
    """A path without a part's points; None where nothing is left of it."""
    points, links = _LINK.split(bare)[::2], [match[0] for match in _LINK.finditer(bare)]
    mine = re.compile(rf"\s*{re.escape(name)}(?:\.\S+)?\s*$")
    if not any(mine.fullmatch(point) for point in points):
        return bare
    left = [(point, links[at] if at < len(links) else "") for at, point in enumerate(points)]
    left = [pair for pair in left if not mine.fullmatch(pair[0])]
    if len(left) < 2:
        return None
    path = "".join(f"{point.rstrip()} {link or '--'}" for point, link in left[:-1]) + left[-1][0].rstrip()
    return path if path[:1] == bare[:1] else path.lstrip()
