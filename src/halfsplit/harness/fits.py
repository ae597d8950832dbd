"""What is plugged in → parts of the circuit: one function for each kind, and the points where the wires end."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from halfsplit.circuit.kinds import KINDS
from halfsplit.harness.names import pin_name
from halfsplit.harness.proposals import OPEN, Plug, Plugged
from halfsplit.harness.terminals import TERMINALS
from halfsplit.notation.write import quoted


@dataclass(frozen=True, slots=True)
class Link:
    """Two points between which current can flow: through a closed contact (``conducts``) or a load."""

    a: str
    b: str
    conducts: bool = False


_DANGERS: Final = (
    ("pyro", r"airbag|restraint|r.ckhalte|pre-?tension|belt tension|gurtstraff|squib|z.ndpille|\bSRS\b"),
    ("orange", r"high[- ]voltage|hochvolt|traction battery|traktionsbatterie|\bHV\b"),
)
"""Tag of the notation → words that mean it, in the languages in which harness files are written."""


def tags(words: str) -> tuple[str, ...]:
    """``pyro``, ``orange``: the circuits that are never probed, by the words of a connector."""
    return tuple(tag for tag, pattern in _DANGERS if re.search(pattern, words, re.IGNORECASE))


@dataclass(frozen=True, slots=True)
class Piece:
    """A part to be written: ``head`` is its kind and values around its name, ``under`` its indented lines."""

    name: str
    kind: str
    values: str = ""
    words: str = ""
    place: str = ""
    under: tuple[str, ...] = ()
    links: tuple[Link, ...] = ()
    why: str = ""

    def lines(self) -> Iterator[str]:
        """The declaration as the notation has it; why it is proposed stands as a comment."""
        said = [self.kind.ljust(9), self.name, self.values]
        said += [quoted(self.words)] if self.words else []
        said += [f"at {quoted(self.place)}"] if self.place else []
        said += [f"kind {tag}" for tag in tags(self.words)[:1]]
        yield " ".join(filter(None, said)) + (f"  # {self.why}" if self.why else "")
        yield from (f"  {line}" for line in self.under)


@dataclass(frozen=True, slots=True)
class Fit:
    """Pieces, where the wire of each cavity ends, and the conductors inside the unit (pairs of points)."""

    pieces: tuple[Piece, ...]
    points: Mapping[str, str]
    inside: tuple[tuple[str, str], ...] = ()


Net = Callable[[str], str]
"""Cavity → something that is the same for all cavities on one net of wires."""

_LOADS: Final = ("lamp", "motor", "heater", "resistor", "solenoid", "sensor")
_WORDS = 60


def fit(plug: Plug, plugged: Plugged, name: str, net: Net) -> Fit:
    """The parts for one connector under the name ``name``."""
    made = FITS.get(plugged.kind, _open)(plug, plugged, name, net)
    if not made.pieces:
        return made
    first, *rest = made.pieces
    known = first.kind != "connector" or rest
    words = (plug.words or (plug.name if plug.name != name else ""))[:_WORDS]
    why = f"proposed: {plugged.why}" if plugged.why and known else ""
    return replace(made, pieces=(replace(first, words=first.words or words, why=why), *rest))


def _open(plug: Plug, _plugged: Plugged, name: str, _net: Net) -> Fit:
    return Fit(
        (Piece(name, "connector"),), {cavity: f"{name}.{pin_name(cavity)}:in" for cavity in plug.signals}
    )


# loads


def _load(plug: Plug, plugged: Plugged, name: str, net: Net) -> Fit:
    """A load for each way to ground; one with two cavities called 1 and 2 stands for the connector itself."""
    cavities = list(plug.signals)
    if len(cavities) == 2 and {pin_name(cavity) for cavity in cavities} == {"1", "2"}:
        piece = Piece(name, plugged.kind, plugged.value, links=(Link(f"{name}.1", f"{name}.2"),))
        return Fit((piece,), {cavity: f"{name}.{pin_name(cavity)}" for cavity in cavities})
    pairs = _pairs(plug, net)
    connector = _open(plug, plugged, name, net)
    letter = KINDS[plugged.kind].code or "E"
    body = f"GND_{name}"
    loads, inside = [], []
    for number, (a, b) in enumerate(pairs, 1):
        load = f"{name}_{letter}{number}"
        words = f"{plug.words[:_WORDS]}, cavity {a}".strip(", ")
        loads.append(Piece(load, plugged.kind, plugged.value, words, links=(Link(f"{load}.1", f"{load}.2"),)))
        inside += [(f"{name}.{pin_name(a)}:out", f"{load}.1")]
        inside += [(f"{load}.2", f"{name}.{pin_name(b)}:out" if b else body)]
    mounting = [_mounting(body)] if any(not b for _, b in pairs) else []
    return Fit((*connector.pieces, *loads, *mounting), connector.points, tuple(inside))


def _pairs(plug: Plug, net: Net) -> list[tuple[str, str]]:
    """Pairs of cavities with a load between them; '' for the body that the part is mounted on."""
    grounds = [cavity for cavity, terminal in plug.terminals().items() if "ground" in terminal.role]
    by_net: dict[str, str] = {}
    for cavity in plug.signals:
        if cavity not in grounds:
            by_net.setdefault(net(cavity), cavity)
    others = list(by_net.values())
    if len(plug.signals) == 1:
        return [(cavity, "") for cavity in others]
    if not grounds and len(others) == 2:
        return [(others[0], others[1])]
    return [(cavity, grounds[0]) for cavity in others] if grounds else []


def _mounting(body: str) -> Piece:
    """The way to the body of a part that is mounted on it."""
    return Piece(body, "ground", words="by its mounting", links=(Link(body, "body", conducts=True),))


# switches


def _switch(plug: Plug, plugged: Plugged, name: str, net: Net) -> Fit:
    """Off and on: on joins each outlet to what DIN 72552 feeds it from; a switch with one wire joins it to the body."""
    cavities = list(plug.signals)
    if len(cavities) == 1:
        joins, positions = [(pin_name(cavities[0]), "body")], "off on"
    else:
        joins, positions = (
            [(pin_name(a), pin_name(b)) for a, b in _joined(plug, net)],
            plugged.value or "off on",
        )
    if not joins:
        return _open(plug, plugged, name, net)
    piece = Piece(
        name,
        "switch",
        positions,
        under=tuple(f"joins on {a} {b}" for a, b in joins),
        links=tuple(Link(f"{name}.{a}", f"{name}.{b}", conducts=True) for a, b in joins),
    )
    used = {pin for pair in joins for pin in pair}
    points = {cavity: f"{name}.{pin_name(cavity)}" for cavity in cavities if pin_name(cavity) in used}
    if len(cavities) == 1:
        body = f"GND_{name}"
        return Fit((piece, _mounting(body)), points, ((f"{name}.body", body),))
    return _with_loose(plug, Fit((piece,), points), name)


def _with_loose(plug: Plug, made: Fit, name: str) -> Fit:
    """The cavities that the part does not use stay a connector of their own."""
    loose = [cavity for cavity in plug.signals if cavity not in made.points]
    if not loose:
        return made
    other = f"{name}_X"
    points = {cavity: f"{other}.{pin_name(cavity)}:in" for cavity in loose}
    rest = Piece(other, "connector", words=f"other cavities of {plug.name}"[:_WORDS])
    return Fit((*made.pieces, rest), {**made.points, **points}, made.inside)


def _joined(plug: Plug, net: Net) -> Iterator[tuple[str, str]]:
    """Pairs of cavities that a switch joins: what feeds, and what is fed."""
    terminals = plug.terminals()
    ignition = re.search(r"zünd|ignition|fahrtschalter", plug.words, re.IGNORECASE) is not None
    feeds = ("30",) if ignition else ("30", "15", "75")
    sources = [cavity for cavity, terminal in terminals.items() if terminal.name in feeds]
    sources.sort(key=lambda cavity: terminals[cavity].name != "30")
    grounds = [cavity for cavity, terminal in terminals.items() if terminal.role == "ground"]
    outlets = [cavity for cavity in plug.signals if cavity not in sources and cavity not in grounds]
    inlets = _inlets(plug, outlets)
    outlets = [cavity for cavity in outlets if cavity not in inlets]
    if not outlets and len({net(cavity) for cavity in sources}) > 1:
        sources, outlets = sources[:1], sources[1:]
    if not sources and not grounds:
        sources, outlets = outlets[:1], outlets[1:]
    for cavity in outlets:
        held = terminals.get(cavity)
        # The first of the terminals that can feed it which the plug has, in its first cavity.
        having = {terminals[other].name: other for other in reversed(terminals) if other != cavity}
        feeding = [having[name] for name in (held.fed_by if held else ()) if having.get(name)]
        source = next(iter([*feeding, *sources, *grounds]), None)
        if source is not None and net(source) != net(cavity):
            yield source, cavity


def _inlets(plug: Plug, outlets: list[str]) -> set[str]:
    """Outlets that feed others of the switch, and so come from elsewhere: 56 of one that has 56a and 56b."""
    terminals = plug.terminals()
    order = list(TERMINALS)
    known = [cavity for cavity in outlets if cavity in terminals]
    inlets: set[str] = set()
    for cavity in sorted(known, key=lambda outlet: order.index(terminals[outlet].name))[::-1]:
        fed = [terminals[other] for other in known if other not in inlets]
        if any(terminals[cavity].name in supplied.fed_by[:1] for supplied in fed):
            inlets.add(cavity)
    return inlets


# units


def _module(plug: Plug, plugged: Plugged, name: str, net: Net) -> Fit:
    """Fed by its terminals 30 and 15, earthed by 31; what it does besides is not in such a file."""
    terminals = plug.terminals()
    earths = [pin_name(cavity) for cavity, terminal in terminals.items() if terminal.role == "ground"]
    feeds: dict[str, list[str]] = {}
    for cavity, held in terminals.items():
        if held.name in ("30", "15", "75", "49", "54", "58"):
            feeds.setdefault(held.name, []).append(pin_name(cavity))
    groups = [pins for terminal, pins in feeds.items() if terminal in ("30", "15", "75", "49")]
    groups = groups or list(feeds.values())
    if not earths or not groups:
        return _open(plug, plugged, name, net)
    under = [f"feed {' or '.join(pins)}" for pins in groups] + [f"earth {pin}" for pin in earths]
    links = [Link(f"{name}.{pin}", f"{name}.{earths[0]}") for pins in groups for pin in pins]
    links += [Link(f"{name}.{earths[0]}", f"{name}.{pin}") for pin in earths[1:]]
    flasher = [pin_name(cavity) for cavity, terminal in terminals.items() if terminal.name == "49a"]
    if flasher:
        under.append(f"drives {flasher[0]} high when always")
        links.append(Link(f"{name}.{groups[0][0]}", f"{name}.{flasher[0]}", conducts=True))
    points = {cavity: f"{name}.{pin_name(cavity)}" for cavity in plug.signals}
    return Fit((Piece(name, "module", plugged.value, under=tuple(under), links=tuple(links)),), points)


_ISO_7588: Final = MappingProxyType({"1": "86", "2": "85", "3": "30", "4": "87a", "5": "87"})
"""Numbers of a mini relay's contacts by ISO 7588-1 → terminals of DIN 72552 (from memory)."""


def _relay(plug: Plug, plugged: Plugged, name: str, net: Net) -> Fit:
    """By the terminals in the names of its cavities, else by the numbers of ISO 7588, else by its signals."""
    roles = _relay_pins(plug)
    if not {"30", "85", "86", "87"} <= set(roles.values()):
        return _module(plug, plugged, name, net)
    links = (Link(f"{name}.86", f"{name}.85"), Link(f"{name}.30", f"{name}.87", conducts=True))
    numbers = ", ".join(f"{cavity} = {pin}" for cavity, pin in roles.items() if cavity != pin)
    piece = Piece(name, "relay", plugged.value, f"{plug.words[:_WORDS]} {numbers}".strip(), links=links)
    return _with_loose(plug, Fit((piece,), {cavity: f"{name}.{pin}" for cavity, pin in roles.items()}), name)


def _relay_pins(plug: Plug) -> dict[str, str]:
    """Cavity → terminal of the relay."""
    by_name = {
        cavity: match[1] for cavity in plug.signals if (match := re.search(r"(30|85|86|87a?)$", cavity))
    }
    if len(set(by_name.values())) >= len(plug.signals) - 1 and len(by_name) >= 4:
        return by_name
    by_number = {cavity: _ISO_7588.get(cavity[-1:], "") for cavity in plug.signals}
    if {"86", "85", "30", "87"} <= set(by_number.values()):
        return {cavity: pin for cavity, pin in by_number.items() if pin}
    # Ground at the coil, battery feed at the contact; of the two that are left, a switched feed drives the coil.
    terminals = plug.terminals()
    ground = [cavity for cavity, terminal in terminals.items() if terminal.role == "ground"]
    coil = [cavity for cavity, terminal in terminals.items() if terminal.role == "switched"]
    feed = [cavity for cavity, terminal in terminals.items() if terminal.role == "feed"]
    if not (ground and coil and feed) or len(plug.signals) - len(ground) != 3:
        return {}
    (outlet,) = set(plug.signals) - {*ground, coil[0], feed[0]}
    return {ground[0]: "85", coil[0]: "86", feed[0]: "30", outlet: "87"}


# rings


def _ground(plug: Plug, _plugged: Plugged, name: str, _net: Net) -> Fit:
    piece = Piece(name, "ground", links=(Link(name, "body", conducts=True),))
    return Fit((piece,), dict.fromkeys(plug.signals, name))


def _battery(plug: Plug, _plugged: Plugged, _name: str, _net: Net) -> Fit:
    """On the battery: terminal 31 at its negative post, all else at its positive."""
    grounds = [cavity for cavity, terminal in plug.terminals().items() if "ground" in terminal.role]
    return Fit((), {cavity: "G1.-" if cavity in grounds else "G1.+" for cavity in plug.signals})


FITS: Final[Mapping[str, Callable[[Plug, Plugged, str, Net], Fit]]] = MappingProxyType(
    {
        OPEN: _open,
        **dict.fromkeys(_LOADS, _load),
        "switch": _switch,
        "module": _module,
        "relay": _relay,
        "ground": _ground,
        "battery": _battery,
    }
)
"""Kind of what is plugged in → its parts."""
