"""What a person does to the marks of a photo, tap by tap, and the circuit that follows."""

from halfsplit.circuit.kinds import KINDS
from halfsplit.diagram.edit import changed, goes_on
from halfsplit.diagram.marks import Marks, Page
from halfsplit.diagram.write import written
from halfsplit.notation.circuit import Circuit

PAGE = Marks().with_marks(Page("g1", "", 1, 1000, 1000, "raster", "photo"))


def walked(marks, *steps, before=""):
    """The parts of a path, each with its name ('' where it is marked already) and the place of the tap."""
    for name, x, y in steps:
        told = {"page": "g1", "name": name, "x": x, "y": y, "before": before}
        marks = changed(marks, "walk", told)
        before = goes_on(marks, told)
    return marks


def ends(marks):
    circuit = Circuit.parse(written(marks).text)
    return {frozenset((wire.a, wire.b)) for wire in circuit.model.wires}


def a_path():
    """A feed through a relay's contact and a connector to a motor, and the relay's coil beside it."""
    marks = walked(
        PAGE,
        ("G1", 100, 100),
        ("F1", 100, 200),
        ("K1", 100, 300),
        ("X4.7", 100, 400),
        ("M1", 100, 500),
        ("E1", 100, 600),
    )
    marks = walked(marks, ("", 100, 100), ("S1", 300, 200), ("K1", 300, 300), ("", 100, 600))
    return walked(marks, ("", 100, 100), ("", 100, 600))


def test_a_path_goes_through_a_connector_and_a_relay_of_two_symbols_shares_its_pins():
    found = ends(a_path())
    pairs = (
        ("K1.87", "X4.7:in"),
        ("X4.7:out", "M1.1"),
        ("S1.2", "K1.86"),
        ("K1.85", "E1"),
        ("G1.-", "E1"),
        ("G1.+", "S1.1"),
        ("F1.2", "K1.30"),
    )
    assert {frozenset(pair) for pair in pairs} <= found


def test_a_second_wire_from_the_same_place_begins_at_the_same_pin():
    marks = walked(PAGE, ("G1", 100, 100), ("F1", 100, 200), ("H1", 100, 300), ("E1", 100, 400))
    marks = walked(marks, ("", 100, 100), ("F2", 100, 250))
    assert sorted(pin.name for pin in marks.pins.values() if pin.part == "p1") == ["+"]
    assert KINDS["battery"].pins[0] == "+"


def test_an_end_of_a_wire_is_dragged_to_another_pin_and_the_wire_stays_whole():
    marks = walked(PAGE, ("G1", 100, 100), ("F1", 100, 200), ("H1", 100, 300), ("E1", 100, 400))
    wire = next(trace for trace in marks.traces.values() if marks.pins[trace.b].part == "p3")
    ground = next(pin for pin in marks.pins.values() if pin.part == "p4")
    moved = changed(marks, "drag", {"key": wire.key, "end": "b", "x": ground.spot[0], "y": ground.spot[1]})
    assert (moved.traces[wire.key].a, moved.traces[wire.key].b) == (wire.a, ground.key)
    assert moved.traces[wire.key].spots[0] == wire.spots[0]
