"""`Harness` and what is plugged into it → the text of a circuit."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Final

from halfsplit.harness.data import Core, End, Harness, Seat
from halfsplit.harness.feeds import Feeds
from halfsplit.harness.fits import Fit, Link, Piece, fit
from halfsplit.harness.names import part_name, pin_name
from halfsplit.harness.proposals import OPEN, Plug, Plugged, proposal
from halfsplit.joined import Joined
from halfsplit.notation.amounts import written
from halfsplit.notation.write import quoted

_PREFIX: Final = MappingProxyType({"plug": "X", "splice": "SP", "ring": "X", "box": "X", "loose": "X"})
_FUSES: Final = ((0.5, 5.0), (0.75, 10.0), (1.5, 15.0), (2.5, 25.0), (4.0, 40.0), (float("inf"), 60.0))
"""Cross-section (mm2) up to which a fuse of so many ampere is proposed: the notation's own table, read backwards."""
_MOST_STATES: Final = 12


@dataclass(frozen=True, slots=True)
class Built:
    """The circuit's text, and what was proposed in it, by the name of the connector in the file."""

    text: str
    plugged: Mapping[str, Plugged]
    assumed: tuple[str, ...]


def plugs(harness: Harness) -> tuple[Plug, ...]:
    """What the table asks about: connectors, rings, bare ends, and slots of carriers that hold no fuse."""
    return _Builder(harness, {}).plugs


def build(harness: Harness, answers: Mapping[str, Plugged] | None = None) -> Built:
    """The circuit, with ``answers`` (name of a connector → what is plugged in) and proposals for all others.

    A proposal that could have no current with what is known is left out: its connector stays open.
    """
    return _Builder(harness, answers or {}).built()


class _Builder:
    def __init__(self, harness: Harness, answers: Mapping[str, Plugged]) -> None:
        self.harness = harness
        self.answers = answers
        self.names: dict[str, str] = {}
        self.taken = {"G1", "body"}
        for key, place in harness.places.items():
            self.names[key] = part_name(place.name, _PREFIX[place.kind], self.taken)
            self.taken.add(self.names[key])
        self.nets: Joined[End | str] = Joined()
        carried: dict[str, dict[str, str]] = {}
        for core in harness.cores:
            self.nets.join(self._spot(core.a), self._spot(core.b))
            for end in (core.a, core.b):
                cavities = carried.setdefault(end.place, {})
                cavities[end.cavity] = cavities.get(end.cavity) or core.signal
        self.wired = {
            key: {cavity: cavities[cavity] for cavity in sorted(cavities, key=_in_order)}
            for key, cavities in carried.items()
        }
        """Place → its wired cavities, in the order of their numbers → signal."""
        self.seated = {End(seat.box, cavity): seat for seat in harness.seats for cavity in seat.cavities}
        # A file may use one name for several.
        counts: Counter[str] = Counter()
        plugs = []
        for plug in self._plugs():
            counts[plug.name] += 1
            number = counts[plug.name]
            plugs.append(plug if number == 1 else replace(plug, name=f"{plug.name} ({number})"))
        self.plugs = tuple(plugs)

    def _spot(self, end: End) -> End | str:
        """What is one for all ends that are joined where this one is: a splice joins all its cavities."""
        return end.place if self.harness.places[end.place].kind == "splice" else end

    def _plugs(self) -> Iterator[Plug]:
        mated = {end.place for place in self.harness.places.values() for end in place.mates.values()}
        for key, cavities in self.wired.items():
            place = self.harness.places[key]
            if place.kind != "box":
                if place.kind != "splice" and not place.mates and key not in mated:
                    yield Plug(key, place.name, place.kind, place.words, MappingProxyType(cavities))
                continue
            # The relays of a carrier, and its cavities that belong to no slot.
            loose = {}
            groups: dict[str, tuple[Seat, dict[str, str]]] = {}
            for cavity, signal in cavities.items():
                seat = self.seated.get(End(key, cavity))
                if seat is None:
                    loose[cavity] = signal
                elif seat.kind != "fuse":
                    groups.setdefault(seat.name, (seat, {}))[1][cavity] = signal
            for name, (seat, inside) in groups.items():
                words = " ".join(filter(None, (place.words, "relay" if seat.kind == "relay" else "")))
                yield Plug(f"{key}/{name}", f"{place.name}/{name}", "slot", words, MappingProxyType(inside))
            if loose:
                yield Plug(key, place.name, "plug", place.words, MappingProxyType(loose))

    # from plugs to the circuit

    def built(self) -> Built:
        chosen = {}
        for plug in self.plugs:
            proposed = proposal(plug)
            if plug.key in self.harness.partial and proposed.kind not in ("ground", "battery"):
                proposed = Plugged(OPEN, why="cut off here")  # its other wires would tell more
            chosen[plug.name] = self.answers.get(plug.name) or proposed
        draft = self._draft(chosen)
        dead = {
            plug.name
            for plug in self.plugs
            if plug.name not in self.answers and chosen[plug.name].kind != OPEN and draft.is_dead(plug.name)
        }
        if dead:
            chosen |= {name: Plugged(OPEN, why="its wires lead to nothing that is known") for name in dead}
            draft = self._draft(chosen)
        text = "\n".join(draft.lines()) + "\n"
        return Built(text, MappingProxyType(chosen), tuple(draft.feeds.assumed))

    def _draft(self, chosen: Mapping[str, Plugged]) -> _Draft:
        fits: dict[str, Fit] = {}
        points: dict[End, str] = {}
        for plug in self.plugs:
            key, _, slot = plug.key.partition("/")
            name = self.names[key]
            if plug.kind == "slot":
                name = part_name(f"{name}_{slot}", "K", self.taken)
            roots = {cavity: str(self.nets.root(self._spot(End(key, cavity)))) for cavity in plug.signals}
            fits[plug.name] = fit(plug, chosen[plug.name], name, roots.__getitem__)
            points |= {End(key, cavity): point for cavity, point in fits[plug.name].points.items()}
        return _Draft(self, fits, points)


class _Draft:
    """The circuit to be: pieces, wires, and where current comes from."""

    def __init__(self, builder: _Builder, fits: Mapping[str, Fit], points: dict[End, str]) -> None:
        self.builder, self.fits, self.points = builder, fits, points
        self.on_battery = {name for name, fit in fits.items() if not fit.pieces}
        harness = builder.harness
        self.fuses = dict(self._fuses())
        self.mates = self._mates()
        self.splices = [
            Piece(builder.names[key], "splice", words=place.words[:60])
            for key, place in harness.places.items()
            if place.kind == "splice"
        ]
        self.cores = [(self._point(core.a), self._point(core.b), core) for core in harness.cores]
        self.inside = [pair for fit in fits.values() for pair in fit.inside]
        cut = {builder.names[key] for key in harness.partial if key in builder.names}
        self.feeds = Feeds(
            self._pieces(), [(a, b, core.signal) for a, b, core in self.cores], self.inside, cut
        )

    def _pieces(self) -> list[Piece]:
        plugged = [piece for fit in self.fits.values() for piece in fit.pieces]
        return [*self.fuses.values(), *self.mates, *self.splices, *plugged]

    def is_dead(self, name: str) -> bool:
        """Whether none of the parts that are proposed for a connector can have current."""
        pieces = [piece for piece in self.fits[name].pieces if piece.kind != "connector"]
        return name not in self.on_battery and not any(self.feeds.alive(piece) for piece in pieces)

    # fuses and couplings

    def _fuses(self) -> Iterator[tuple[str, Piece]]:
        """The wired fuses, each under the names of its box and slot."""
        builder = self.builder
        for seat in builder.harness.seats:
            wired = [cavity for cavity in seat.cavities if cavity in builder.wired.get(seat.box, {})]
            if seat.kind != "fuse" or not wired:
                continue
            box = builder.harness.places[seat.box]
            said = f"{seat.name}_{box.name}" if seat.name[:1] == "F" else f"F_{box.name}_{seat.name}"
            name = part_name(said, "F", builder.taken)
            ends = {End(seat.box, cavity) for cavity in wired}
            sizes = [core.mm2 or 0.0 for core in builder.harness.cores if ends & {core.a, core.b}]
            amps = seat.amps or next(rating for size, rating in _FUSES if max(sizes, default=0.0) <= size)
            why = "" if seat.amps else "rating proposed by the cross-section of its wires"
            for number, cavity in enumerate(seat.cavities, 1):
                self.points[End(seat.box, cavity)] = f"{name}.{number}"
            words = " ".join(filter(None, (seat.words, f"cavities {' '.join(seat.cavities)}")))
            yield name, Piece(name, "fuse", written(amps, "A"), words[:80], (box.words or box.name)[:60],
                              links=(Link(f"{name}.1", f"{name}.2", conducts=True),), why=why)  # fmt: skip

    def _mates(self) -> list[Piece]:
        """Couplings inside the file, one connector for the two halves; then what is wired and is no part yet."""
        pieces: dict[str, Piece] = {}
        builder = self.builder
        places = builder.harness.places
        pairs: list[tuple[End, End | None]] = [
            (End(key, cavity), mate) for key, place in places.items() for cavity, mate in place.mates.items()
        ]
        pairs += [(End(key, cavity), None) for key, cavities in builder.wired.items() for cavity in cavities]
        for end, mate in pairs:
            if end in self.points or (mate is None and places[end.place].kind == "splice"):
                continue
            name = builder.names[end.place]
            pieces.setdefault(name, Piece(name, "connector", words=places[end.place].words[:60]))
            self.points[end] = f"{name}.{pin_name(end.cavity)}:in"
            if mate is not None:
                self.points[mate] = f"{name}.{pin_name(end.cavity)}:out"
        return list(pieces.values())

    def _point(self, end: End) -> str:
        return self.points.get(end) or self.builder.names[end.place]

    # text

    def lines(self) -> Iterator[str]:
        title = self.builder.harness.title
        yield f"title  {quoted(title or 'A harness')}"
        yield "# From a harness file. What is proposed or assumed here is marked; confirm it before it is relied upon."
        yield ""
        yield "battery   G1"
        for piece in (*self.feeds.pieces, *self._pieces()):
            yield from piece.lines()
        yield ""
        for a, b, core in self.cores:
            if a != b:
                yield _path(a, b, core)
        if self.inside:
            yield from ("", "# inside the units")
            yield from (_path(a, b) for a, b in self.inside)
        yield from ("", *self.feeds.paths())
        yield from self._states()

    def _states(self) -> Iterator[str]:
        switches = [piece for piece in (*self.feeds.pieces, *self._pieces()) if piece.kind == "switch"]
        if not switches:
            return
        yield ""
        yield 'state "everything off"'
        ignition = [each.name for each in switches if re.search(r"ignition|zünd", each.words, re.IGNORECASE)]
        with_it = "".join(f"{name} on, " for name in ignition)
        if ignition and len(switches) > 1:
            yield f'state "ignition on"  {with_it.rstrip(", ")}'
        others = [piece for piece in switches if piece.name not in ignition]
        if 1 < len(others) <= _MOST_STATES:
            names = Counter(piece.words for piece in others)
            for piece in others:
                alone = piece.words and names[piece.words] == 1
                said = piece.words if alone else f"{piece.words} {piece.name}".strip()
                yield f"state {quoted(said + ' on')}  {with_it}{piece.name} on"
        yield f'state "everything on"  {", ".join(f"{piece.name} on" for piece in switches)}'


def _path(a: str, b: str, core: Core | None = None) -> str:
    """A wire as a path; the side of a cavity is left out where the place in the path tells it."""
    if a.endswith(":in") and not b.endswith(":in"):
        a, b = b, a
    details = [] if core is None else [
        written(round(core.mm2, 4), "mm2").replace(" ", "") if core.mm2 else "",
        core.colour,
        written(core.metres, "m").replace(" ", "") if core.metres else "",
    ]  # fmt: skip
    inner = " ".join(filter(None, details))
    return f"{a.removesuffix(':out')} {f'--[{inner}]--' if inner else '--'} {b.removesuffix(':in')}"


def _in_order(cavity: str) -> list[tuple[int, str]]:
    """Cavities by their numbers: 2 before 10."""
    return [(int(digits or 0), letters) for digits, letters in re.findall(r"(\d*)(\D*)", cavity)]
