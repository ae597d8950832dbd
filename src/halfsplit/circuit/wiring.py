"""Resistance of wires and contacts where the file leaves it open.

Sources: resistivity of annealed copper at 20 °C, IEC 60028; AWG diameters, ASTM B258; default lengths, cross-sections
and contact resistances are common practice, no source.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable

from halfsplit.circuit.model import Model, Wire
from halfsplit.joined import Joined

COPPER = 0.017241
"""ohm mm2/m, annealed copper at 20 °C (IEC 60028)."""
METRES = 1.5
CONTACT_OHMS = 0.002
BOLTED_OHMS = 0.0001
BOLTED_FROM = 10.0
"""mm2: a wire of this size or more ends on a bolt."""
SIZES = ((5.0, 0.5), (10.0, 0.75), (15.0, 1.5), (25.0, 2.5), (40.0, 4.0), (math.inf, 10.0))
"""Fuse rating (A) up to which a cross-section (mm2) is taken."""
SMALL, BATTERY_CABLE = 0.5, 10.0


def gauge_mm2(gauge: int) -> float:
    """Cross-section in mm2 of an AWG number: diameter 0.127 mm · 92^((36 - n)/39), ASTM B258.

    >>> round(gauge_mm2(14), 3)
    2.081
    """
    return math.pi / 4 * float(0.127 * 92 ** ((36 - gauge) / 39)) ** 2


def size_for_rating(amps: float) -> float:
    """Cross-section in mm2 that goes with a fuse of this rating."""
    return next(mm2 for limit, mm2 in SIZES if amps <= limit)


def place(point: str) -> str:
    """The pin, cavity, splice or ground that a point belongs to: without its side."""
    return point.partition(":")[0]


def wire_metres(wire: Wire) -> float:
    """The length given, else the default."""
    return METRES if wire.metres is None else wire.metres


class Wiring:
    """Cross-sections and contact resistances of one circuit, the file's own or the defaults."""

    def __init__(self, model: Model) -> None:
        self._sizes = _sizes(model)
        self._index = {id(wire): number for number, wire in enumerate(model.wires)}
        self._bolted = {
            place(end) for wire in model.wires for end in wire.ends if self.mm2(wire) >= BOLTED_FROM
        }

    def mm2(self, wire: Wire) -> float:
        """The given cross-section, else the one that the fuses above the wire ask for."""
        if wire.mm2 is not None:
            return wire.mm2
        if wire.gauge is not None:
            return gauge_mm2(wire.gauge)
        return self._sizes[self._index[id(wire)]]

    def ohms(self, wire: Wire) -> float:
        """R = rho · length / cross-section."""
        return COPPER * max(wire_metres(wire), 1e-3) / self.mm2(wire)

    def contact_ohms(self, point: str) -> float:
        """A contact, cavity or ground joint: bolted where a wire of 10 mm2 or more ends on it."""
        return BOLTED_OHMS if point in self._bolted else CONTACT_OHMS


def live_neighbours(model: Model) -> frozenset[str]:
    """Names of the wires that share a plug with a live wire: where a short to supply can come (see docs/notation.md).

    Live is what joins the battery's positive post through wires, contacts and fuses whatever is switched. A plug
    is a connector, or the plug of a part with more than two pins.
    """
    fuses = [(f"{fuse.name}.1", f"{fuse.name}.2") for fuse in model.of_kind("fuse", "breaker")]
    regions = _joined([*((place(wire.a), place(wire.b)) for wire in model.wires), *fuses])
    posts = {f"{part.name}.+" for part in model.of_kind("battery", "generator")}
    live = [point for region in regions if region & posts for point in region]
    plugs = {part.name for part in model.parts.values() if part.kind == "connector" or len(part.pins) > 2}
    live_plugs = plugs & {point.partition(".")[0] for point in live if "." in point}
    ends = ((wire.name, [end.partition(".")[0] for end in wire.ends if "." in end]) for wire in model.wires)
    return frozenset(name for name, parts in ends if not live_plugs.isdisjoint(parts))


def neighbouring_cavities(model: Model) -> list[tuple[str, str]]:
    """Pairs of cavities next to each other in number order, between which water can make a path."""
    pairs = []
    for part in model.of_kind("connector"):
        cavities = sorted(part.pins, key=lambda pin: (len(pin), pin))
        pairs += [(f"{part.name}.{a}", f"{part.name}.{b}") for a, b in itertools.pairwise(cavities)]
    return pairs


def _joined(pairs: Iterable[tuple[str, str]]) -> list[set[str]]:
    """Sets of names that the pairs join."""
    joined = Joined[str]()
    for pair in pairs:
        joined.join(*pair)
    regions: dict[str, set[str]] = {}
    for name, root in joined.roots().items():
        regions.setdefault(root, set()).add(name)
    return list(regions.values())


def _sizes(model: Model) -> list[float]:
    """The cross-section of each wire by the fuses that it is joined to through wires, contacts and switches.

    The search for a fuse stops at everything else; a relay's or switch's contact counts, open or closed.
    """
    passable = [(place(wire.a), place(wire.b)) for wire in model.wires]
    for part in model.of_kind("switch"):
        passable += [(f"{part.name}.{join.a}", f"{part.name}.{join.b}") for join in part.connections]
    for part in model.of_kind("relay"):
        made = [pin for pin in ("87", "87a") if pin in part.pins]
        passable += [(f"{part.name}.30", f"{part.name}.{pin}") for pin in made]
    regions = _joined(passable)
    region_of = {name: number for number, region in enumerate(regions) for name in region}
    rated: dict[int, float] = {}
    for fuse in model.of_kind("fuse", "breaker"):
        for number in {region_of.get(f"{fuse.name}.{pin}", -1) for pin in fuse.pins}:
            rated[number] = max(rated.get(number, 0.0), fuse.values.get("A", 0.0))
    battery = {f"{part.name}.{pin}" for part in model.of_kind("battery") for pin in part.pins}
    sizes = []
    for wire in model.wires:
        ends = place(wire.a), place(wire.b)
        rating = rated.get(region_of[ends[0]])
        thick = BATTERY_CABLE if battery & {*ends} else SMALL
        sizes.append(thick if rating is None else size_for_rating(rating))
    return sizes
