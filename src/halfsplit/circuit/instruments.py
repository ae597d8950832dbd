"""What a meter, scope, lamp and clamp do to a circuit, and how well they read.

Resistances are those of the contract; accuracy classes are common practice, no source, and settable.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.assembly import LEAK
from halfsplit.circuit.network import Floats, UnknownNameError

NOMINAL = 12.0
WARM_VOLTS = 6.0
"""From here on a lamp's filament has its hot resistance; below it falls to a tenth (cold) linearly with the volts."""
COLD_SHARE = 0.1
METER_MOST_OHMS = 20e6
"""End of a usual meter's range of ohms; common practice, no source."""
LEAK_SHARE = 0.2


@dataclass(frozen=True, slots=True)
class Instrument:
    """How an instrument loads and how well it reads.

    ``ohms``: its load, hot for a lamp. ``share`` and ``floor``: standard deviation of a reading is
    ``share`` × reading + ``floor`` (V, A or ohm by ``quantity``). ``minutes``: to set it up.
    """

    name: str
    ohms: float | None
    filament: bool = False
    share: float = 0.005
    floor: float = 0.020
    minutes: float = 0.0


INSTRUMENTS: Mapping[str, Instrument] = MappingProxyType(
    {
        item.name: item
        for item in (
            Instrument("meter", 10e6),
            Instrument("scope", 1e6, share=0.02, floor=0.05, minutes=2.0),
            Instrument("test lamp", NOMINAL**2 / 5.0, filament=True, share=0.02, floor=0.05),
            Instrument("21 W lamp", NOMINAL**2 / 21.0, filament=True, share=0.02, floor=0.05, minutes=0.5),
            Instrument("load lamp", NOMINAL**2 / 55.0, filament=True, share=0.02, floor=0.05, minutes=1.0),
            Instrument("LED tester", 10e3, share=0.05, floor=0.5),
            Instrument("clamp", None, share=0.02, floor=0.05, minutes=0.5),
        )
    }
)


def instrument(name: str) -> Instrument:
    """The instrument of this name. Raises UnknownNameError with the names that there are."""
    if name in INSTRUMENTS:
        return INSTRUMENTS[name]
    raise UnknownNameError(f"there is no instrument {name!r}: use one of {', '.join(INSTRUMENTS)}")


def over_range(ohms: Floats, nodes: int) -> NDArray[np.bool_]:
    """Whether a meter shows OL for these ohms, worked out on a network of so many nodes.

    Above the end of its range, or where nothing but the leak carries a current that the solution gives each node
    (1 Gohm): no meter sees that.
    """
    return np.asarray(ohms) >= min(METER_MOST_OHMS, LEAK_SHARE / (LEAK * max(nodes, 1)))


def filament_ohms(hot: float, volts: float) -> float:
    """Resistance of a lamp at a voltage: a tenth when cold, all of it from 6 V on, linear between."""
    return hot * (COLD_SHARE + (1 - COLD_SHARE) * min(abs(volts) / WARM_VOLTS, 1.0))


def loaded_volts(solve: Callable[[list[tuple[int, int, float]]], Floats], a: int, b: int, name: str) -> float:
    """Volts between two nodes with an instrument across them. ``solve`` gives all volts with resistances fitted."""
    chosen = instrument(name)
    if chosen.ohms is None:
        raise UnknownNameError(f"a {name} reads no volts: it goes round a wire and reads amps")
    ohms = chosen.ohms
    for _ in range(40):
        volts = solve([(a, b, ohms)])
        reading = float(volts[a] - volts[b])
        now = filament_ohms(chosen.ohms, reading) if chosen.filament else ohms
        if abs(now - ohms) <= 1e-6 * ohms:
            break
        ohms = now
    return reading
