"""What a test costs in minutes as the vehicle stands in the bay, and the cautions that stand beside it.

Minutes where the file gives none are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.circuit.interventions import Intervention, Jump, LampFor, Replace, StandInFor, Unplug
from halfsplit.circuit.model import BODY, Model, Part, Reach
from halfsplit.circuit.naming import part_of
from halfsplit.diagnosis.measurement import COMMAND, ENDS, Measurement
from halfsplit.quantities import QUANTITIES

Floats = NDArray[np.float64]
T = TypeVar("T")

TEST_MINUTES = 1.5
FURTHER_MINUTES = 0.5
"""A further reading where one stands already: a relay's socket or a unit's plug is one visit."""
STATE_MINUTES = 0.5
HELPER_MINUTES = 2.0
DEFAULT_REACH = 3.0
HARNESS = "harness at"
PLACES: tuple[tuple[tuple[str, ...], float], ...] = (
    ((HARNESS,), 12.0),
    (("fuse box", "battery"), 3.0),
    (("dashboard", "instrument panel", "behind the glove"), 150.0),
    (("carpet", "under the seat", "sill"), 30.0),
    (("trim", "tailgate", "door", "boot", "pillar", "roof"), 10.0),
    (("engine",), 3.0),
)
"""Words of a place and the minutes to get at it, refitting included; a fuse box has a lid wherever it is."""
INTERVENTION_MINUTES: Mapping[type, float] = {
    Unplug: 1.0,
    Jump: 1.5,
    LampFor: 1.0,
    Replace: 2.0,
    StandInFor: 10.0,
}
QUICKLY_FITTED = ("relay", "fuse", "breaker", "lamp")
"""Kinds of which a known-good part goes in by hand within the two minutes."""
FITTING_MINUTES = 30.0
"""To fit any other part on trial; a tank pump is no swap."""
TERMINAL_MINUTES = 5.0
"""To take a terminal out of a plug and fit a new one; common practice, no source."""
WIRING_MINUTES = 3.0
"""To cut a wire off at its ends and lay another past it; common practice, no source."""
LOOK_MINUTES: Mapping[str, float] = {ENDS: 1.0, COMMAND: 1.0}
"""Looks that are shorter than one at every pin."""
FURTHER_LOOK = 1.0
"""The next pin of a plug that is unplugged and under one's eyes, or its fit tried; common practice, no source."""


def places(measurement: Measurement, model: Model) -> tuple[str, ...]:
    """The names of the places that must be open for a test: one a place (``at``), else the part itself."""
    keys = (place_key(name, model) for name in touched(measurement, model))
    return tuple(dict.fromkeys(key for key in keys if key is not None))


def touched(measurement: Measurement, model: Model) -> tuple[str, ...]:
    """The parts that hands or leads go to; of a wire that is looked at, an end that can be got at, or both its ends."""
    names: list[str] = []
    if measurement.at.startswith("wire "):
        ends = [part_of(word) for word in measurement.at.split()[1:3]]
        most = 2 if measurement.detail == (ENDS,) else 1
        names = [end for end in ends if _kind(end, model) != "splice"][:most] or ends[:1]
    elif not QUANTITIES[measurement.quantity].from_the_seat:
        names = [part_of(measurement.at)] + ([part_of(measurement.to)] if measurement.to else [])
    changed = (name for change in measurement.changes for name in _parts(change, model))
    return tuple(dict.fromkeys([*names, *changed]))


def _kind(name: str, model: Model) -> str:
    part = model.parts.get(name)
    return part.kind if part is not None else ""


def _parts(change: Intervention, model: Model) -> list[str]:
    match change:
        case Replace(name, what="wire"):
            # It is cut off at its plugs, and at its splice in the harness, opened once for all that meet there.
            ends = map(part_of, name.split()[1:3])
            return [f"{HARNESS} {end}" if _kind(end, model) == "splice" else end for end in ends]
        case Unplug(name) | Replace(name) | LampFor(name):
            return [part_of(name)]
        case Jump(a, b):
            return [part_of(a), part_of(b)]
        case _:
            return []


def visited(measurement: Measurement, model: Model) -> frozenset[str]:
    """Where one stands for a test; a lead to the battery or to bare metal is left where it is.

    Bare metal alone against the battery's minus is measured at the battery.
    """
    names = [name for name in touched(measurement, model) if not _bare_metal(name, model)]
    if not names and QUANTITIES[measurement.quantity].leads and measurement.to is None:
        names = [part.name for part in model.of_kind("battery")]
    away = [name for name in names if _kind(name, model) != "battery"]
    parts = (model.parts.get(name) for name in away or names)
    return frozenset(part.place or part.name for part in parts if part is not None)


def place_key(name: str, model: Model) -> str | None:
    """What opens together: parts at one ``at`` place.

    A part with a ``reach`` of its own stands alone, but for those at its place that ask for the same in the same words.
    """
    if name.startswith(HARNESS):
        return name
    part = model.parts.get(name)
    own = model.reaches.get(name)
    if own is not None:
        return next(
            reach.name for reach in model.reaches.values() if reach is own or _same_act(reach, own, model)
        )
    if part is None or part.kind == "battery" or _bare_metal(name, model):
        return None
    return part.place or name


def _bare_metal(name: str, model: Model) -> bool:
    """The body, or a mass of its own such as the engine: at hand wherever one stands at what is bolted to it."""
    return name == BODY or _kind(name, model) == "mass"


def _same_act(first: Reach, second: Reach, model: Model) -> bool:
    """Whether two places at one ``at`` are opened in the same words."""
    here, there = (model.parts.get(reach.name) for reach in (first, second))
    alike = (first.words, first.minutes) == (second.words, second.minutes) and first.words != ""
    return alike and here is not None and there is not None and here.place == there.place != ""


def reach_minutes(key: str, model: Model) -> float:
    """Minutes to get at a place the first time."""
    return model.reaches[key].minutes if key in model.reaches else _usual_minutes(key)


@lru_cache(maxsize=4096)
def _usual_minutes(key: str) -> float:
    """Minutes by the words of a place; asked for a hundred thousand times in a choice."""
    for words, minutes in PLACES:
        if any(word in key.lower() for word in words):
            return minutes
    return DEFAULT_REACH


def ways(model: Model) -> dict[str, float]:
    """The minutes to each place of a circuit, by its key in order of appearance: what a choice of tests goes by."""
    parts = [part for part in model.parts.values() if part.kind != "splice" or part.name in model.reaches]
    keys = dict.fromkeys(place_key(part.name, model) for part in parts)
    return {key: reach_minutes(key, model) for key in keys if key is not None}


def own_minutes(measurement: Measurement, model: Model, now: str | None) -> float:
    """Minutes of a test once its places are open, coming from elsewhere, with the vehicle in the state ``now``."""
    made = change_minutes(measurement.changes, (), model)
    return _reading_minutes(measurement) + made + state_minutes(measurement, model, now)


def _reading_minutes(measurement: Measurement) -> float:
    used = INSTRUMENTS.get(measurement.instrument or "")
    usual = QUANTITIES[measurement.quantity].minutes
    minutes = TEST_MINUTES if usual is None else usual
    if measurement.detail and measurement.quantity == "inspection":
        minutes = LOOK_MINUTES.get(measurement.detail[0], minutes)
    return minutes + (used.minutes if used else 0.0)


def change_minutes(wanted: Sequence[Intervention], made: Sequence[Intervention], model: Model) -> float:
    """Minutes to make what is wanted where some is made already; putting it back is in its minutes."""
    minutes = 0.0
    for change in (change for change in wanted if change not in made):
        match change:
            case StandInFor(stage) if (given := model.stages[stage].stand_in) is not None:
                minutes += given.minutes or 0.0
            case Replace(what="wire"):
                minutes += WIRING_MINUTES
            case Replace(what="terminal"):
                minutes += TERMINAL_MINUTES
            case Replace(name) if _kind(name, model) not in QUICKLY_FITTED:
                minutes += FITTING_MINUTES
            case _:
                minutes += INTERVENTION_MINUTES[type(change)]
    return minutes


def stateless(measurement: Measurement, model: Model) -> bool:
    """Whether a test shows the same in any state; ohms from a fuse's socket go through what is switched on."""
    through = measurement.quantity == "ohms" and _kind(part_of(measurement.at), model) == "fuse"
    own = measurement.at.endswith(":part")
    return QUANTITIES[measurement.quantity].stateless and (own or not through)


def state_minutes(measurement: Measurement, model: Model, now: str | None) -> float:
    """Minutes to set up the state of a test."""
    if measurement.state == now or stateless(measurement, model):
        return 0.0
    state = model.states[measurement.state]
    return (STATE_MINUTES if state.takes is None else state.takes) + (HELPER_MINUTES if state.helper else 0.0)


@dataclass(frozen=True)
class Bay:
    """The vehicle as it stands in the bay.

    ``opened``: places that are open; ``state``: the one it is in, None at first; ``made``: what is unplugged, joined
    or fitted now; ``stands``: where the leads are; ``looks``: the plug under one's eyes.
    """

    model: Model
    opened: frozenset[str] = frozenset()
    state: str | None = None
    made: tuple[Intervention, ...] = ()
    stands: frozenset[str] = frozenset()
    looks: str = ""

    def minutes(self, measurement: Measurement) -> float:
        """Minutes of a test now: getting there, setting up, measuring."""
        own = own_minutes(measurement, self.model, self.state)
        own -= change_minutes(measurement.changes, (), self.model)
        own += change_minutes(measurement.changes, self.made, self.model)
        if QUANTITIES[measurement.quantity].probed and self.near(visited(measurement, self.model)):
            own -= TEST_MINUTES - FURTHER_MINUTES
        if self.looks and plug_looked_at(measurement) == self.looks:
            own -= max(_reading_minutes(measurement) - FURTHER_LOOK, 0.0)
        return own + sum(reach_minutes(key, self.model) for key in self.opens(measurement))

    def near(self, here: frozenset[str]) -> bool:
        """Whether one stands there already; bare metal alone is at hand wherever one stands."""
        return bool(self.stands) and here <= self.stands

    def opens(self, measurement: Measurement) -> tuple[str, ...]:
        """The places that a test has to open first."""
        return tuple(key for key in places(measurement, self.model) if key not in self.opened)

    def after(self, measurement: Measurement) -> Bay:
        """The vehicle once the test has been made."""
        if measurement.quantity == "event":
            return self
        looked = measurement.quantity in ("inspection", "code")
        leads = QUANTITIES[measurement.quantity].probed or measurement.changes
        return replace(
            self,
            opened=self.opened.union(places(measurement, self.model)),
            state=self.state if stateless(measurement, self.model) else measurement.state,
            made=self.made if looked else measurement.changes,
            stands=(visited(measurement, self.model) if leads else frozenset()) or self.stands,
            looks=plug_looked_at(measurement) or self.looks,
        )


def plug_looked_at(measurement: Measurement) -> str:
    """The part of which a contact is looked at; empty for any other test."""
    at_contact = measurement.quantity == "inspection" and measurement.at.count(".") == 1
    return part_of(measurement.at) if at_contact and " " not in measurement.at else ""


class Minutes:
    """Minutes of each of many tests now (T,), and once one of them has been made."""

    def __init__(self, bay: Bay, tests: Sequence[Measurement]) -> None:
        self.bay, self.tests, model = bay, tests, bay.model
        closed, self._of_closed = _numbered([frozenset(bay.opens(test)) for test in tests])
        self._keys = sorted(frozenset().union(*closed))
        ways = np.array([reach_minutes(key, model) for key in self._keys], dtype=float)
        inside = [[key in each for key in self._keys] for each in closed]
        self._ways = ways * np.array(inside, dtype=float).reshape(len(closed), len(self._keys))
        self._here, self._of_here = _numbered([visited(test, model) for test in tests])
        self._changes, self._of_changes = _numbered([test.changes for test in tests])
        self._set, self._of_set = _numbered([(test.state, stateless(test, model)) for test in tests])
        self._reading = np.array([_reading_minutes(test) for test in tests])
        self._looks = np.array([plug_looked_at(test) for test in tests])
        self._probed = np.array([QUANTITIES[test.quantity].probed for test in tests], dtype=bool)
        self.now = self._from(bay)

    def after(self, test: int) -> Floats:
        """Minutes of each test once this one has been made."""
        return self._from(self.bay.after(self.tests[test]))

    def _from(self, bay: Bay) -> Floats:
        model = bay.model
        way = self._ways @ np.array([key not in bay.opened for key in self._keys], dtype=float)
        made = [change_minutes(change, bay.made, model) for change in self._changes]
        setting = [
            0.0 if still else state_minutes(Measurement("works", "", state), model, bay.state)
            for state, still in self._set
        ]
        near = np.array([bay.near(here) for here in self._here], dtype=bool)
        saved = (TEST_MINUTES - FURTHER_MINUTES) * (near[self._of_here] & self._probed)
        if bay.looks:
            saved += np.maximum(self._reading - FURTHER_LOOK, 0.0) * (self._looks == bay.looks)
        changing = np.array(made, dtype=float)[self._of_changes]
        setting_up = np.array(setting, dtype=float)[self._of_set]
        return np.asarray(self._reading - saved + way[self._of_closed] + changing + setting_up)


def _numbered(values: Sequence[T]) -> tuple[list[T], NDArray[np.intp]]:
    """The different values in order of appearance, and the number of each."""
    order = {value: number for number, value in enumerate(dict.fromkeys(values))}
    return list(order), np.array([order[value] for value in values], dtype=np.intp)


def never_probed(part: Part | None) -> bool:
    """Restraint and high-voltage circuits are never probed, lamped or jumped."""
    return part is not None and bool({"pyro", "orange"} & set(part.tags))


def cautions(measurement: Measurement, model: Model) -> tuple[str, ...]:
    """The usual cautions beside a test. The maker's documentation and local rules come first."""
    return tuple(text for applies, text in CAUTIONS if applies(measurement, model))


Applies = Callable[[Measurement, Model], bool]


def _mentions(*words: str) -> Applies:
    """Whether the state, or the words or places of the parts that the leads are at, hold one of these words."""

    def applies(measurement: Measurement, model: Model) -> bool:
        ends = (model.parts.get(part_of(end or "")) for end in (measurement.at, measurement.to))
        said = [measurement.state, *(f"{part.words} {part.place}" for part in ends if part is not None)]
        text = " ".join(said).lower()
        return any(word in text for word in words)

    return applies


def _fuel(measurement: Measurement, model: Model) -> bool:
    """Fuel itself, or a pump of which the words do not say that it pumps something else."""
    other = _mentions("water", "washer", "coolant", "vacuum", "steering")(measurement, model)
    pumped = _mentions("pump")(measurement, model) and not other
    return pumped or _mentions("fuel", "injector")(measurement, model)


def _at_kind(kind: str) -> Applies:
    """Whether the test is at, or does anything to, a part of a kind."""

    def applies(measurement: Measurement, model: Model) -> bool:
        changed = [name for change in measurement.changes for name in _parts(change, model)]
        return any(_kind(name, model) == kind for name in (part_of(measurement.at), *changed))

    return applies


def _does(what: type) -> Applies:
    return lambda measurement, _: any(isinstance(change, what) for change in measurement.changes)


def _hot_lamp(measurement: Measurement, model: Model) -> bool:
    return measurement.instrument in ("load lamp", "21 W lamp") or _does(LampFor)(measurement, model)


CAUTIONS: tuple[tuple[Applies, str], ...] = (
    (
        _mentions("crank", "starter"),
        "Cranking: hands, hair and leads clear of belts and fans; brake set, out of gear.",
    ),
    (_fuel, "Fuel under pressure and vapour: no ignition source, extinguisher at hand, eye protection."),
    (
        _mentions("ignition coil", "spark", "gas-discharge"),
        "High voltage: keep clear of secondary leads; use a rated attenuator.",
    ),
    (_mentions("fan", "radiator"), "Fans can start with the key off: keep hands and leads clear."),
    (_mentions("tailgate", "boot lid"), "Tailgate up: prop it."),
    (
        _mentions("airbag", "belt tensioner"),
        "Restraint circuits: never probe or lamp-test; battery off and the waiting "
        "time of the vehicle's documentation.",
    ),
    (_mentions("wiper", "window", "seat motor"), "Moving parts: keep fingers clear while it is switched."),
    (_at_kind("battery"), "Battery: no flame, no short circuit; ground lead off first and on last."),
    (_hot_lamp, "The lamp gets hot: keep it off trim and wiring."),
    (_does(Jump), "Jump with a fused lead of the circuit's rating, never a module's output."),
    (_at_kind("heater"), "Hot part: let it cool or switch on briefly."),
)
