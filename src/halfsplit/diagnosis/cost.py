"""What a test costs in minutes, and the cautions that stand beside it.

Minutes where the file gives none are those of field.md 15 and rulings 16 (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from halfsplit.circuit.instruments import INSTRUMENTS
from halfsplit.circuit.interventions import Jump, LampFor, Replace, StandInFor, Unplug
from halfsplit.circuit.kinds import LOADS
from halfsplit.circuit.model import Model, Part
from halfsplit.diagnosis.measurement import Measurement

TEST_MINUTES = 1.5
FREE_MINUTES = 0.3
"""Something that is seen or heard from where one stands."""
STATE_MINUTES = 0.5
HELPER_MINUTES = 2.0
DEFAULT_REACH = 3.0
PLACES: tuple[tuple[tuple[str, ...], float], ...] = (
    (("dashboard", "instrument panel", "behind the glove"), 150.0),
    (("carpet", "under the seat", "sill"), 30.0),
    (("trim", "tailgate", "door", "boot", "pillar", "roof"), 10.0),
    (("engine", "fuse box", "battery"), 3.0),
)
"""Words of a place and the minutes to get at it, refitting included."""
INTERVENTION_MINUTES: Mapping[type, float] = {
    Unplug: 1.0,
    Jump: 1.5,
    LampFor: 1.0,
    Replace: 2.0,
    StandInFor: 10.0,
}
QUANTITY_MINUTES: Mapping[str, float] = {
    "works": FREE_MINUTES,
    "gauge": FREE_MINUTES,
    "answers": 1.0,
    "code": 1.5,
    "blown": 0.7,
    "inspection": 2.5,
    "wiggle": 2.0,
    "stage": 2.0,
    "event": 0.0,
}


def part_of(name: str) -> str:
    """The part or connector that a point, pin or cavity belongs to."""
    return name.partition(":")[0].partition(".")[0]


def places(measurement: Measurement, model: Model) -> tuple[str, ...]:
    """The names of the places that must be open for a test: one a place (``at``), else the part itself."""
    if measurement.quantity in ("works", "answers", "code", "event", "gauge"):
        names: list[str] = []
    elif measurement.at.startswith("wire "):
        names = [part_of(word) for word in measurement.at.split()[1:3]]
        names = names[:1]
    else:
        names = [part_of(measurement.at)] + ([part_of(measurement.to)] if measurement.to else [])
    for change in measurement.changes:
        match change:
            case Unplug(name) | Replace(name) | LampFor(name):
                names.append(name)
            case Jump(a, b):
                names += [part_of(a), part_of(b)]
            case _:
                pass
    return tuple(dict.fromkeys(key for name in names if (key := place_key(name, model)) is not None))


def place_key(name: str, model: Model) -> str | None:
    """What opens together: parts at one ``at`` place; a part with a ``reach`` of its own stands alone."""
    part = model.parts.get(name)
    if name in model.reaches or part is None:
        return name if name in model.reaches else None
    if part.kind == "battery":
        return None
    return part.place or name


def reach_minutes(key: str, model: Model) -> float:
    """Minutes to get at a place the first time."""
    if key in model.reaches:
        return model.reaches[key].minutes
    for words, minutes in PLACES:
        if any(word in key.lower() for word in words):
            return minutes
    return DEFAULT_REACH


def own_minutes(measurement: Measurement, model: Model, now: str | None) -> float:
    """Minutes of a test once its places are open, from the state that the vehicle is in now."""
    minutes = QUANTITY_MINUTES.get(measurement.quantity, TEST_MINUTES)
    used = INSTRUMENTS.get(measurement.instrument or "")
    minutes += used.minutes if used else 0.0
    minutes += sum(INTERVENTION_MINUTES[type(change)] for change in measurement.changes)
    for change in measurement.changes:
        if isinstance(change, StandInFor):
            given = model.stages[change.stage].stand_in
            if given is not None:
                minutes += (given.minutes or 0.0) - INTERVENTION_MINUTES[StandInFor]
    state = model.states[measurement.state]
    if measurement.state != now and measurement.quantity not in ("inspection", "ohms"):
        minutes += STATE_MINUTES if state.takes is None else state.takes
        minutes += HELPER_MINUTES if state.helper else 0.0
    return minutes


def never_probed(part: Part | None) -> bool:
    """Restraint and high-voltage circuits are never probed, lamped or jumped (field.md 16)."""
    return part is not None and bool({"pyro", "orange"} & set(part.tags))


def cautions(measurement: Measurement, model: Model) -> tuple[str, ...]:
    """The usual cautions beside a test. The maker's documentation and local rules come first."""
    return tuple(text for applies, text in CAUTIONS if applies(measurement, model))


def _words(measurement: Measurement, model: Model) -> str:
    parts = [
        model.parts[name]
        for name in (part_of(measurement.at), part_of(measurement.to or ""))
        if name in model.parts
    ]
    return " ".join([measurement.state, *(f"{part.words} {part.place}" for part in parts)]).lower()


Applies = Callable[[Measurement, Model], bool]


def _mentions(*words: str) -> Applies:
    return lambda measurement, model: any(word in _words(measurement, model) for word in words)


def _at_kind(*kinds: str) -> Applies:
    return lambda measurement, model: any(
        name in model.parts and model.parts[name].kind in kinds
        for name in (part_of(measurement.at), *(part_of(point) for point in _touched(measurement)))
    )


def _touched(measurement: Measurement) -> Iterable[str]:
    for change in measurement.changes:
        match change:
            case Unplug(name) | Replace(name) | LampFor(name):
                yield name
            case Jump(a, b):
                yield from (a, b)
            case _:
                pass


def _hot_lamp(measurement: Measurement, model: Model) -> bool:
    lamp = measurement.instrument in ("load lamp", "21 W lamp")
    return lamp or any(isinstance(change, LampFor) for change in measurement.changes)


def _jumped(measurement: Measurement, model: Model) -> bool:
    return any(isinstance(change, Jump) for change in measurement.changes)


CAUTIONS: tuple[tuple[Applies, str], ...] = (
    (
        _mentions("crank", "starter"),
        "Cranking: hands, hair and leads clear of belts and fans; brake set, out of gear.",
    ),
    (
        _mentions("fuel", "injector", "pump"),
        "Fuel under pressure and vapour: no ignition source, extinguisher at hand, eye protection.",
    ),
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
    (_jumped, "Jump with a fused lead of the circuit's rating, never a module's output."),
    (_at_kind("heater"), "Hot part: let it cool or switch on briefly."),
)

__all__ = [
    "LOADS",
    "cautions",
    "never_probed",
    "own_minutes",
    "part_of",
    "place_key",
    "places",
    "reach_minutes",
]
