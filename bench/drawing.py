"""A short way to write circuits in code: parts by name, paths as in the notation."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from types import MappingProxyType

from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.model import AS_DRAWN, Behaviour, Join, Model, Part, State, Terminator, Wire


class Drawing:
    """Collects parts, wires and states; `model()` freezes them.

    >>> drawing = Drawing()
    >>> drawing.part("G1", "battery")
    >>> drawing.part("E1", "ground", "")
    >>> drawing.part("H1", "lamp", W=5.0)
    >>> drawing.path("G1.+ -- H1 --[2.5]-- E1 -- G1.-")
    >>> [wire.name for wire in drawing.model().wires]
    ['wire G1.+ H1.1', 'wire H1.2 E1', 'wire E1 G1.-']
    """

    def __init__(self) -> None:
        self.parts: dict[str, Part] = {}
        self.wires: list[Wire] = []
        self.states: dict[str, State] = {}
        self.terminators: list[Terminator] = []

    def part(
        self,
        name: str,
        kind: str,
        pins: str | None = None,
        *,
        behaviour: Behaviour | None = None,
        positions: str = "",
        joins: tuple[Join, ...] = (),
        park: tuple[str, str, str] | None = None,
        mass: str = "body",
        values: Mapping[str, float] | None = None,
        **more: float,
    ) -> None:
        """Declare a part; `pins` where they are not those of its kind, its values by unit."""
        every = {**(values or {}), **more}
        given = KINDS[kind].pins if pins is None else tuple(pins.split())
        self.parts[name] = Part(
            name,
            kind,
            given,
            MappingProxyType(every),
            behaviour=behaviour,
            joins=joins,
            positions=tuple(positions.split()),
            park=park,
            mass=mass,
        )

    def path(self, text: str, metres: float | None = None) -> None:
        """`A -- B --[2.5]-- C`: two-pin parts stand bare, cavities are crossed from `:in` to `:out`."""
        mm2: float | None = None
        before = ""
        for word in text.split():
            if word.startswith("--"):
                mm2 = float(word[3:-3]) if "[" in word else None
                continue
            arrives, leaves = self._sides(word)
            if before:
                number = 1 + sum({wire.a, wire.b} == {before, arrives} for wire in self.wires)
                self.wires.append(Wire(before, arrives, mm2, metres=metres, number=number))
            before = leaves

    def _sides(self, word: str) -> tuple[str, str]:
        name, dot, pin = word.partition(".")
        part = self.parts.get(name)
        if part is None:  # declared later, which a pin may wait for
            return word, word
        if part.kind == "connector":
            if pin not in part.pins:
                self.parts[name] = Part(name, "connector", (*part.pins, pin))
            return f"{word}:in", f"{word}:out"
        if dot or part.kind in ("splice", "ground", "mass"):
            return word, word
        return f"{name}.{part.pins[0]}", f"{name}.{part.pins[1]}"

    def state(
        self,
        name: str,
        switches: Mapping[str, str] | None = None,
        *,
        running: tuple[str, ...] = (),
        lasts: float | None = None,
        values: Mapping[str, float] | None = None,
    ) -> None:
        """An operating state with the positions of its switches."""
        self.states[name] = State(
            name,
            MappingProxyType(dict(switches or {})),
            frozenset(running),
            MappingProxyType(dict(values or {})),
            lasts,
        )

    def model(self, title: str = "") -> Model:
        """What was drawn."""
        states = self.states or {AS_DRAWN.name: AS_DRAWN}
        return Model(
            title,
            MappingProxyType(self.parts),
            tuple(self.wires),
            MappingProxyType(states),
            terminators=tuple(self.terminators),
        )


def cavities(connector: str) -> itertools.chain[str]:
    """Endless fresh cavities of one connector: `X1.1`, `X1.2`, …"""
    return itertools.chain(f"{connector}.{number}" for number in itertools.count(1))
