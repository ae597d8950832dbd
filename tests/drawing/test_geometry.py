"""No overlapping texts, no wire through a symbol or text, everything drawn once: on every circuit that there is."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import halfsplit.notation
from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.model import Model, Part, Wire
from halfsplit.drawing import draw
from halfsplit.notation.reading import parse, read
from tests.circuits import WASH_WIPE as WIPER
from tests.drawing.circuits import AWKWARD, SENSORS, vehicle
from tests.drawing.geometry import misread, mistakes

NOTATION = Path(halfsplit.notation.__file__).parent
CIRCUITS = sorted(NOTATION.glob("*/*.circuit"))


def model_of(text):
    return parse(text)[0]


def drawn_once(model, drawing):
    """Every part (each cavity of a connector) has one symbol, every wire one line from point to point."""
    cavities = {
        point.partition(":")[0]
        for wire in model.wires
        for point in (wire.a, wire.b)
        if (part := model.parts.get(point.partition(".")[0])) and part.kind == "connector"
    }
    expected = {name for name, part in model.parts.items() if part.kind != "connector"} | cavities
    symbols = [name for name, _ in drawing.boxes.symbols]
    assert len(symbols) == len(set(symbols))
    assert expected <= set(symbols)
    assert {wire.name for wire in model.wires} == {name for name, _ in drawing.boxes.wires}
    assert misread(drawing, model) == []


def test_there_are_demos_and_patterns():
    assert len(CIRCUITS) > 10


@pytest.mark.parametrize("path", CIRCUITS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_demo_and_pattern(path):
    model, _problems = read(path)
    drawing = draw(model)
    assert mistakes(drawing) == []
    drawn_once(model, drawing)


@pytest.mark.parametrize(
    "text", [WIPER, SENSORS, AWKWARD, vehicle(12)], ids=["wiper", "sensors", "awkward", "12"]
)
@pytest.mark.parametrize("width", [None, 390, 1280])
def test_difficulties(text, width):
    model = model_of(text)
    drawing = draw(model, width=width)
    assert mistakes(drawing) == []
    drawn_once(model, drawing)


def test_sixty_branches():
    model = model_of(vehicle(60))
    drawing = draw(model)
    assert mistakes(drawing) == []
    drawn_once(model, drawing)


@pytest.mark.parametrize("seed", range(4))
def test_readings_and_suspicion_make_no_overlap(seed):
    """With something written at every point, part and wire, as it never happens in a bay."""
    model = model_of(vehicle(14, seed))
    points = {point for wire in model.wires for point in (wire.a, wire.b)}
    drawing = draw(
        model,
        suspicion=dict.fromkeys([*points, *model.parts, *(wire.name for wire in model.wires)], 0.125),
        readings=dict.fromkeys(points, "−12.34 V"),
        expected=dict.fromkeys(points, "12.56 V"),
    )
    assert mistakes(drawing) == []
    drawn_once(model, drawing)


# Circuits that nobody would draw


KIND_NAMES = [
    "fuse",
    "lamp",
    "motor",
    "switch",
    "relay",
    "diode",
    "sensor",
    "module",
    "splice",
    "ground",
    "battery",
]


@st.composite
def models(draw_from):
    """Any parts, wired at random from any pin to any pin: also what no vehicle has (loops, loose ends)."""
    kinds = draw_from(st.lists(st.sampled_from(KIND_NAMES), min_size=1, max_size=14))
    parts = {}
    for number, kind in enumerate(kinds):
        pins = KINDS[kind].pins or ("1", "2", "3", "4")
        if kind == "relay" and draw_from(st.booleans()):
            pins = (*pins, "87a")
        name = f"P{number}"
        parts[name] = Part(
            name, kind, () if kind in {"splice", "ground"} else pins, words=draw_from(st.text(max_size=30))
        )
    parts["X1"] = Part("X1", "connector")
    points = [name for name, part in parts.items() if part.kind in {"splice", "ground"}]
    points += [f"{name}.{pin}" for name, part in parts.items() for pin in part.pins]
    ends = st.sampled_from([*points, *(f"X1.{cavity}" for cavity in range(1, 4))])
    pairs = draw_from(st.lists(st.tuples(ends, ends).filter(lambda pair: pair[0] != pair[1]), max_size=24))
    wires, met = [], {}
    for a, b in pairs:
        met[a, b] = met.get((a, b), 0) + 1
        wires.append(Wire(a, b, 1.5, colour="RD/WH", number=met[a, b]))
    return Model(parts=parts, wires=tuple(wires))


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
@given(models())
def test_any_circuit(model):
    drawing = draw(model)
    assert mistakes(drawing) == []
    drawn_once(model, drawing)


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(models(), st.data())
def test_any_focus(model, data):
    focus = frozenset(data.draw(st.lists(st.sampled_from(sorted(model.parts)), max_size=3)))
    drawing = draw(model, focus=focus)
    assert mistakes(drawing) == []
