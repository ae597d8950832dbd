"""Elements and devices while they are collected, and what the functions that add them share."""

from __future__ import annotations

from dataclasses import dataclass, field

from halfsplit.circuit.element import Device, Diode, Element, InputPort, ModulePorts, Point
from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.model import Model, Part
from halfsplit.circuit.wiring import Wiring

REFERENCE = "reference"
LEAK = 1e-9
"""Siemens from every node to the reference (1 Gohm): a point that is cut off on both sides is at 0 V."""
SWITCH_OHMS = 0.005
SHORT_OHMS = 0.050
DIODE_OHMS = 0.010
NOMINAL = 12.0
ALWAYS = (-1, 0)

Ends = tuple[Point, Point]


@dataclass(slots=True)
class Assembly:
    """Collects elements and devices while the parts are gone through; ``network.compile_network`` freezes it."""

    model: Model
    wiring: Wiring
    elements: list[Element] = field(default_factory=list)
    devices: list[Device] = field(default_factory=list)
    modules: list[ModulePorts] = field(default_factory=list)
    inputs: list[InputPort] = field(default_factory=list)

    def add(
        self,
        part: Part,
        name: str,
        role: str,
        ends: Ends,
        ohms: float,
        *,
        spread: float = 0.0,
        emf: float = 0.0,
        when: tuple[int, int] = ALWAYS,
    ) -> None:
        """A resistance (with a source of ``emf`` volts in series). ``when``: its device and the mask of states."""
        conductance = 1.0 / ohms if ohms else 0.0
        self.elements.append(Element(name, role, ends, ends, conductance, emf, 0.0, spread, *when, part.name))

    def spare(self, owner: str, name: str, role: str, ends: Ends) -> None:
        """An element that is not there until a fault makes it: a short, a weld."""
        self.elements.append(Element(name, role, ends, ends, 0.0, part=owner))

    def limit(self, part: Part, name: str, ends: Ends, amps: float, when: tuple[int, int]) -> None:
        """A constant current from the first end to the second."""
        self.elements.append(Element(name, "limit", ends, ends, 0.0, 0.0, -amps, 0.0, *when, part.name))

    def diode(self, part: Part, name: str, ends: Ends, forward: float) -> None:
        """Anode, cathode."""
        device = self.device(Diode(name, ends, forward))
        self.add(part, name, "diode", ends, DIODE_OHMS, emf=forward, spread=0.1, when=(device, 0b10))

    def device(self, device: Device) -> int:
        self.devices.append(device)
        return len(self.devices) - 1


def inside(part: Part, pin: str) -> Point:
    """The part side of a pin."""
    return f"{part.name}.{pin}:part"


def across(part: Part, a: str, b: str) -> Ends:
    """The part sides of two pins."""
    return inside(part, a), inside(part, b)


def value(part: Part, unit: str) -> float:
    """The value given in the file, or the kind's default."""
    return part.values[unit] if unit in part.values else KINDS[part.kind].defaults[unit]
