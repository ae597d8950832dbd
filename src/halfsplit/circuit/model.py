"""What a circuit file says, as frozen data: parts, wires, states, stages.

The notation (``halfsplit.notation``) makes these from text and writes text from them. Nothing here is
worked out: a value that the file leaves open stays open (``None`` or absent), so that what is written back
is what was read. The numbers that a solution needs are made from this in ``network.py``.

Names of points, used everywhere:

=====================  ==================================================================================
``K7.30``              a pin, on the harness side of its contact (what can be back-probed)
``K7.30:part``         the same pin on the part side of its contact
``X31.4:in`` ``:out``  the two sides of the cavity of an in-line connector
``SP5``                a splice (one node)
``E4``                 a ground, on the wire's side of its joint; the body behind the joint is ``body``
``engine``             a declared mass: a body of its own
=====================  ==================================================================================
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

BODY = "body"

Side = Literal["high", "low"]


def _no_values() -> Mapping[str, float]:
    return MappingProxyType({})


@dataclass(frozen=True, slots=True)
class Position:
    """Where a statement stands: file name ('' for text given directly), line and column counted from 1."""

    file: str = ""
    line: int = 0
    column: int = 0


NOWHERE = Position()


# Conditions of a driver: a small expression tree.


@dataclass(frozen=True, slots=True)
class Always:
    """True whenever the module works."""


@dataclass(frozen=True, slots=True)
class PinIs:
    """``7 is high``: the level of one of the module's own inputs; ``pin`` is the pin, not its alias."""

    pin: str
    level: Side


@dataclass(frozen=True, slots=True)
class InState:
    """``"cranking"``: true in the operating state of that name."""

    state: str


@dataclass(frozen=True, slots=True)
class Hears:
    """``A2 hears A1``: the first module receives what the second sends on a bus that both talk on."""

    listener: str
    speaker: str


@dataclass(frozen=True, slots=True)
class Not:
    """True while the term is not."""

    term: Condition


@dataclass(frozen=True, slots=True)
class And:
    """True while all terms are."""

    terms: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Or:
    """True while at least one term is."""

    terms: tuple[Condition, ...]


Condition = Always | PinIs | InState | Hears | Not | And | Or


# Behaviour of a module.


@dataclass(frozen=True, slots=True)
class Input:
    """``reads PIN [as NAME] [pulled up|down OHM] [low under V] [high over V]``; None where not given."""

    pin: str
    name: str = ""
    pull: Literal["up", "down"] | None = None
    ohms: float | None = None
    low_under: float | None = None
    high_over: float | None = None


@dataclass(frozen=True, slots=True)
class Driver:
    """``drives PIN high|low [OHM] [limit A] when CONDITION`` and its extensions.

    ``latches`` is None, or 'power' (latched off until the module loses its feed), or the name of the state
    that clears it. ``bias`` is the resistance (ohm) to the feed while off, a diagnosis pull of the
    module. ``duty`` is the share of the time on (0 to 1), ``hertz`` its frequency.
    """

    pin: str
    side: Side
    when: Condition = Always()
    ohms: float | None = None
    limit: float | None = None
    latches: str | None = None
    bias: float | None = None
    duty: float | None = None
    hertz: float | None = None


@dataclass(frozen=True, slots=True)
class Supply:
    """``supplies PIN V [limit A]``: a regulated supply, volts above the module's first earth."""

    pin: str
    volts: float
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class Talk:
    """``talks on BUS at PIN PIN``: the pins of the high and of the low line (one pin: a one-wire bus)."""

    bus: str
    high: str
    low: str | None = None


@dataclass(frozen=True, slots=True)
class Sleep:
    """``sleeps MA after MIN`` with ``wakes when CONDITION``: amps asleep, minutes until then."""

    amps: float
    after: float
    wakes: Condition | None = None


@dataclass(frozen=True, slots=True)
class Behaviour:
    """The lines under a ``module``.

    ``feeds``: every group must be served; a group is served by any of its pins (``feed 1 or 2``).
    ``earths``: the first is the one that volts are measured from. ``clamps``: pins with a diode to the feed.
    """

    feeds: tuple[tuple[str, ...], ...] = ()
    earths: tuple[str, ...] = ()
    draws: float | None = None
    works_over: float | None = None
    inputs: tuple[Input, ...] = ()
    drivers: tuple[Driver, ...] = ()
    supplies: tuple[Supply, ...] = ()
    talks: tuple[Talk, ...] = ()
    clamps: tuple[str, ...] = ()
    sleep: Sleep | None = None


@dataclass(frozen=True, slots=True)
class Join:
    """``joins POSITION PIN PIN``: the switch connects two pins in this position."""

    position: str
    a: str
    b: str


@dataclass(frozen=True, slots=True)
class Part:
    """A declared or implied part.

    ``kind`` is a key of ``kinds.KINDS``. ``values`` holds what the file gives, keyed by unit (``V``, ``A``, ``W``,
    ``ohm``, ``share``) or by word where a unit does not tell (``pulls``, ``drops``, in volts); SI units. ``pins`` are
    in the kind's order; for modules and connectors in the order of their first use. ``park`` marks a motor with
    a park switch: the pins (common, parked, running) of that switch.
    ``mass`` is the body that a ground stands on. ``tags`` holds words such as ``pyro`` (never probed). ``drifts``: a
    load whose resistance may change.
    """

    name: str
    kind: str
    pins: tuple[str, ...] = ()
    values: Mapping[str, float] = field(default_factory=_no_values)
    words: str = ""
    place: str = ""
    positions: tuple[str, ...] = ()
    joins: tuple[Join, ...] = ()
    park: tuple[str, str, str] | None = None
    behaviour: Behaviour | None = None
    mass: str = BODY
    tags: tuple[str, ...] = ()
    drifts: bool = False
    declared: bool = True
    at: Position = field(default=NOWHERE, compare=False)

    @property
    def is_earth(self) -> bool:
        """A ground, or the body it stands on."""
        return self.kind in ("ground", "mass")

    @property
    def is_joint(self) -> bool:
        """Wires meet in it without terminals."""
        return self.kind == "splice" or self.is_earth

    @property
    def is_source(self) -> bool:
        """It has posts, and feeds the vehicle."""
        return self.kind in ("battery", "generator")

    @property
    def is_fuse(self) -> bool:
        """It opens at too much current."""
        return self.kind in ("fuse", "breaker")

    @property
    def settings(self) -> tuple[str, ...]:
        """Positions of a switch, the first is that of a state which does not name it."""
        return self.positions or ("open", "closed")

    @property
    def connections(self) -> tuple[Join, ...]:
        """The joins of a switch: those given, else its second position joins 1 and 2."""
        if self.joins or self.kind != "switch" or len(self.settings) < 2:
            return self.joins
        return (Join(self.settings[1], "1", "2"),)


@dataclass(frozen=True, slots=True)
class Wire:
    """One ``--`` of a path, from point ``a`` to point ``b`` (names of points as above).

    ``mm2`` and ``metres`` are None where the file does not give them; ``gauge`` is the AWG number where the
    section was given so. ``number`` counts wires between the same two points (1, 2, …). ``unknown`` is a stretch that
    the diagram does not show (``A -- ? -- B``). ``variant`` names the production that has this wire ('' for all).
    ``path`` is the index of the statement that the wire comes from.
    """

    a: str
    b: str
    mm2: float | None = None
    gauge: int | None = None
    colour: str = ""
    metres: float | None = None
    number: int = 1
    unknown: bool = False
    variant: str = ""
    path: int = 0
    at: Position = field(default=NOWHERE, compare=False)

    @property
    def ends(self) -> tuple[str, str]:
        """Both points."""
        return self.a, self.b

    @property
    def name(self) -> str:
        """``wire F21.2 X31.4``: without the side of a cavity, which follows from the path."""
        a, b = (point.removesuffix(":in").removesuffix(":out") for point in (self.a, self.b))
        return f"wire {a} {b}" if self.number == 1 else f"wire {a} {b} #{self.number}"


@dataclass(frozen=True, slots=True)
class Terminator:
    """``terminator OHM at PART [on BUS]``: a bus terminator inside a part, across its pair."""

    ohms: float
    part: str
    bus: str
    at: Position = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class State:
    """An operating state: ``switches`` gives the position of each switch that is not in its first position.

    ``running``: generators that run. ``values``: what a sensor has in this state (ohm, or share of its supply).
    ``lasts``: minutes that the state has lasted (sleep), ``takes``: minutes to set it up, ``helper``: a second person.
    """

    name: str
    switches: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    running: frozenset[str] = frozenset()
    values: Mapping[str, float] = field(default_factory=_no_values)
    lasts: float | None = None
    takes: float | None = None
    helper: bool = False
    at: Position = field(default=NOWHERE, compare=False)


AS_DRAWN = State("as drawn")


@dataclass(frozen=True, slots=True)
class StageFailure:
    """A ``fails`` line: a cause of the stage's own, with its relative prior."""

    words: str
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class StandIn:
    """A ``stand-in`` line: makes the stage hold, whatever feeds it."""

    words: str
    minutes: float | None = None
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Stage:
    """A link of the chain that is not electrical. ``good`` and ``bad`` are numbers in ``unit``, or None for yes/no.

    ``states``: the states to which the stage is limited; empty for all.
    """

    name: str
    words: str = ""
    good: float | None = None
    bad: float | None = None
    unit: str = ""
    needs: tuple[str, ...] = ()
    failures: tuple[StageFailure, ...] = ()
    stand_in: StandIn | None = None
    states: tuple[str, ...] = ()
    at: Position = field(default=NOWHERE, compare=False)


GaugeQuantity = Literal["volts", "amps", "closed", "stage"]


@dataclass(frozen=True, slots=True)
class Gauge:
    """``gauge NAME QUANTITY at PLACE [xRATIO] [within ERROR]``: an instrument fixed in the circuit, which may lie.

    It shows ``ratio`` × volts of a point against the battery's negative post, amps of a two-pin part or pin, 1 or 0 for
    a relay, fuse or breaker that is closed or open, or the number of a stage. ``error`` is the standard deviation of
    a sound one in ``unit``, None where the file does not tell.
    """

    name: str
    quantity: GaugeQuantity
    place: str
    ratio: float = 1.0
    error: float | None = None
    unit: str = ""
    words: str = ""
    at: Position = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Reach:
    """``reach NAME N min ["words"]``."""

    name: str
    minutes: float
    words: str = ""
    at: Position = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Suspicion:
    """``suspect NAME xN ["words"]``: multiplies the prior of every fault there."""

    name: str
    factor: float
    words: str = ""
    at: Position = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Model:
    """Everything that a circuit file says, in the order of the file.

    ``variants`` are the productions named by ``variant`` lines; a wire of a variant is there only in that one.
    """

    title: str = ""
    parts: Mapping[str, Part] = field(default_factory=lambda: MappingProxyType({}))
    wires: tuple[Wire, ...] = ()
    states: Mapping[str, State] = field(default_factory=lambda: MappingProxyType({AS_DRAWN.name: AS_DRAWN}))
    stages: Mapping[str, Stage] = field(default_factory=lambda: MappingProxyType({}))
    reaches: Mapping[str, Reach] = field(default_factory=lambda: MappingProxyType({}))
    suspicions: tuple[Suspicion, ...] = ()
    terminators: tuple[Terminator, ...] = ()
    variants: tuple[str, ...] = ()
    gauges: Mapping[str, Gauge] = field(default_factory=lambda: MappingProxyType({}))

    def of_kind(self, *kinds: str) -> tuple[Part, ...]:
        """The parts of these kinds, in the order of the file."""
        return tuple(part for part in self.parts.values() if part.kind in kinds)

    def wire(self, name: str) -> Wire | None:
        """The wire of this name."""
        return next((wire for wire in self.wires if wire.name == name), None)

    @property
    def talks(self) -> Iterator[tuple[Part, Talk]]:
        """The units that talk on a bus, with how each does; one that talks on two comes twice."""
        for part in self.of_kind("module"):
            for talk in part.behaviour.talks if part.behaviour else ():
                yield part, talk

    @property
    def net_volts(self) -> float:
        """12 or 24, by the battery."""
        battery = next(iter(self.of_kind("battery")), None)
        return 24.0 if battery is not None and battery.values.get("V", 12.6) > 18 else 12.0
