"""What a technician does to a circuit before measuring: unplug, jump, lamp for a fuse, known-good part, stand-in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from halfsplit.circuit.assembly import NOMINAL, inside
from halfsplit.circuit.network import OPEN, Change, Network, System, UnknownNameError

JUMP_OHMS = 0.020
"""A fused lead with its clips; common practice, no source."""
CABLE_OHMS = 0.002
"""A booster cable with its clamps; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Unplug:
    """All contacts of a part, or all cavities of a connector, apart; for a fuse or relay: pulled."""

    name: str

    def __str__(self) -> str:
        return f"unplug {self.name}"


@dataclass(frozen=True, slots=True)
class Jump:
    """Two points joined by a fused lead, or by a booster cable where it is ``heavy``."""

    a: str
    b: str
    heavy: bool = False

    def __str__(self) -> str:
        return f"jump {self.a} to {self.b}{' by a booster cable' if self.heavy else ''}"


@dataclass(frozen=True, slots=True)
class LampFor:
    """A lamp in place of a fuse: it limits the current of a short and shows by its light that it is there."""

    fuse: str
    watts: float = 21.0

    def __str__(self) -> str:
        return f"{self.watts:g} W lamp in place of {self.fuse}"


@dataclass(frozen=True, slots=True)
class Replace:
    """A known-good part fitted; a wire laid anew, or a new terminal at a contact."""

    name: str

    @property
    def what(self) -> Literal["part", "wire", "terminal"]:
        """What is new, by its name."""
        return "wire" if self.name.startswith("wire ") else "terminal" if "." in self.name else "part"

    def __str__(self) -> str:
        return {
            "part": f"fit a known-good {self.name}",
            "wire": f"{self.name} laid anew",
            "terminal": f"new terminal at {self.name}",
        }[self.what]


@dataclass(frozen=True, slots=True)
class StandInFor:
    """A stage held by its stand-in."""

    stage: str

    def __str__(self) -> str:
        return f"stand in for {self.stage}"


Intervention = Unplug | Jump | LampFor | Replace | StandInFor


def apply(system: System, interventions: tuple[Intervention, ...]) -> System:
    """The system with the electrical interventions made. Raises UnknownNameError for what is not there."""
    network = system.network
    changes: list[Change] = []
    bridges: list[tuple[int, int, float]] = []
    for intervention in interventions:
        match intervention:
            case Unplug(name):
                changes += [Change(element, OPEN) for element in contacts_of(network, name)]
            case Jump(a, b, heavy):
                bridges.append((network.node(a), network.node(b), CABLE_OHMS if heavy else JUMP_OHMS))
            case LampFor(fuse, watts):
                changes.append(Change(network.element(fuse), OPEN))
                ends = network.node(inside(network.model.parts[fuse], "1")), network.node(f"{fuse}.2:part")
                bridges.append((*ends, NOMINAL**2 / watts))
            case _:
                pass
    return system.changed(changes).bridged(bridges) if changes or bridges else system


def contacts_of(network: Network, name: str) -> list[int]:
    """Elements of the contacts that part when this part or connector is unplugged."""
    part = network.model.parts.get(name)
    if part is None:
        raise UnknownNameError(f"there is no part {name!r} in this circuit")
    return [network.element(f"{name}.{pin}") for pin in part.pins]


def replaced(interventions: tuple[Intervention, ...]) -> frozenset[str]:
    """Parts that are known good."""
    return frozenset(item.name for item in interventions if isinstance(item, Replace))


unplug, jump, lamp_for, fit, stand_in = Unplug, Jump, LampFor, Replace, StandInFor
"""The same as what is done: ``circuit.solve(state, changes=[unplug("M9"), jump("K7.30", "K7.87")])``."""
