"""One line of node analysis, and the devices that switch such lines: frozen data, made in ``elements.py``."""

from __future__ import annotations

from dataclasses import dataclass

from halfsplit.circuit.model import Driver, Sleep, Supply, Talk

Point = str


@dataclass(frozen=True, slots=True)
class Element:
    """One line of node analysis.

    ``spread`` is the standard deviation of the logarithm of the conductance between cars (``predict`` draws it);
    ``role`` says what it is. ``device``/``mask``: index and bit mask of device states in which it counts; -1: always.
    ``variant``: the production that has it, '' for all.
    """

    name: str
    role: str
    u: tuple[Point, Point]
    v: tuple[Point, Point]
    conductance: float
    emf: float = 0.0
    push: float = 0.0
    spread: float = 0.0
    device: int = -1
    mask: int = 0
    part: str = ""
    variant: str = ""


@dataclass(frozen=True, slots=True)
class Relay:
    """States: 0 released, 1 pulled."""

    name: str
    coil: tuple[Point, Point]
    pulls: float
    drops: float


@dataclass(frozen=True, slots=True)
class ParkSwitch:
    """Running while the motor has volts; parked otherwise."""

    name: str
    motor: tuple[Point, Point]


@dataclass(frozen=True, slots=True)
class Diode:
    """States: 0 blocking, 1 conducting."""

    name: str
    ends: tuple[Point, Point]
    forward: float


@dataclass(frozen=True, slots=True)
class DriverDevice:
    """States: 0 off, 1 on, 2 limiting, 3 latched off."""

    name: str
    module: int
    driver: Driver
    ends: tuple[Point, Point]
    ohms: float


@dataclass(frozen=True, slots=True)
class SupplyDevice:
    """States: 0 off, 1 regulating, 2 limiting, 3 dropping out (its feed is below its voltage)."""

    name: str
    module: int
    supply: Supply
    feed: Point
    earth: Point
    pin: Point


@dataclass(frozen=True, slots=True)
class TalkDevice:
    """States: 0 unfed, 1 recessive, 2 dominant (only while links are judged)."""

    name: str
    module: int
    talk: Talk
    high: Point
    low: Point | None
    feed: Point
    earth: Point


@dataclass(frozen=True, slots=True)
class SleepDevice:
    """States: 0 awake, 1 asleep: then the module draws little, drives nothing and does not talk."""

    name: str
    module: int
    sleep: Sleep


Device = Relay | ParkSwitch | Diode | DriverDevice | SupplyDevice | TalkDevice | SleepDevice


@dataclass(frozen=True, slots=True)
class InputPort:
    """An input as the module sees it; ``resting`` is the level that it is taken at when it is not read."""

    name: str
    module: int
    pin: str
    point: Point
    low_under: float | None
    high_over: float | None
    resting: str


@dataclass(frozen=True, slots=True)
class ModulePorts:
    """``feeds``: groups of points of which any serves; ``earth``: the first earth."""

    name: str
    feeds: tuple[tuple[Point, ...], ...]
    earth: Point
    minimum: float
