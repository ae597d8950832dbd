"""That a drawing reads as current-path drawings do: feed above, ground below, paths straight, little crossing."""

import pytest

from halfsplit.drawing import draw
from halfsplit.drawing.fonts import text_width, wrap
from halfsplit.drawing.sides import sides_of
from halfsplit.notation.reading import parse
from tests.circuits import WASH_WIPE as WIPER
from tests.drawing.circuits import AWKWARD, SENSORS, drawn, vehicle
from tests.drawing.geometry import mistakes, spread


def model_of(text):
    return parse(text)[0]


def middle(drawing, name):
    (left, top, right, bottom) = dict(drawing.boxes.symbols)[name]
    return (left + right) / 2, (top + bottom) / 2


def crossings(drawing):
    """How often an upright stretch of one wire or bar crosses a level stretch of another."""
    lines = [*drawing.boxes.wires, *drawing.boxes.bars]
    s = spread(lines)
    return sum(
        s[i, 0] < s[j, 0] < s[i, 2] and s[j, 1] < s[i, 1] < s[j, 3]
        for i in range(len(s))
        for j in range(len(s))
        if lines[i][0] != lines[j][0]
    )


def test_current_runs_down_the_page():
    drawing = drawn(WIPER)
    path = ["F21", "K7", "X31.4", "M9", "X31.2", "E4"]
    heights = [middle(drawing, name)[1] for name in path]
    assert heights == sorted(heights)
    assert middle(drawing, "G1")[1] == middle(drawing, "F21")[1]
    assert middle(drawing, "E4")[1] == pytest.approx(middle(drawing, "E1")[1], abs=30)


def test_a_simple_path_is_one_column():
    drawing = drawn(WIPER)
    columns = {round(middle(drawing, name)[0]) for name in ("X31.4", "M9", "X31.2", "E4")}
    assert len(columns) == 1


def test_in_the_wiper_only_the_battery_negative_crosses_others():
    assert crossings(drawn(WIPER)) <= 2


@pytest.mark.parametrize(("text", "most"), [(SENSORS, 16), (AWKWARD, 12)], ids=["sensors", "awkward"])
def test_crossings_stay_few(text, most):
    assert crossings(drawn(text)) <= most


def test_module_pins_stand_where_their_nets_come_from():
    sides = sides_of(model_of(SENSORS)).module
    assert sides["A1.15"] == sides["A1.30"] == sides["A1.11"] == "top"
    assert sides["A1.31"] == sides["A1.5"] == sides["A1.13"] == sides["A1.21"] == "bottom"
    assert sides["A1.61"] == "bottom"
    assert sides["A2.8"] == "top"


def test_a_sensor_with_its_own_supply_hangs_below_its_module():
    drawing = drawn(SENSORS)
    for sensor in ("B1", "B2", "B3", "M2"):
        assert middle(drawing, sensor)[1] > middle(drawing, "A1")[1]


def test_a_motor_between_two_changeover_relays_hangs_below_both():
    drawing = drawn(AWKWARD)
    assert middle(drawing, "M1")[1] > max(middle(drawing, "K1")[1], middle(drawing, "K2")[1])


# Folding


def test_folding_leaves_the_current_paths_in_focus():
    model = model_of(vehicle(60))
    motor = next(name for name, part in model.parts.items() if part.kind == "motor")
    drawing = draw(model, focus=frozenset({motor}))
    names = {name for name, _ in drawing.boxes.symbols}
    assert {motor, "G1"} <= names
    assert len(names) < len(model.parts) / 4
    assert drawing.width < 1280
    assert mistakes(drawing) == []


def test_stubs_name_every_part_that_is_folded_once():
    model = model_of(vehicle(30))
    drawing = draw(model, focus=frozenset({"SP15"}))
    drawn = {name.partition(".")[0] for name, _ in drawing.boxes.symbols if not name.startswith("folded")}
    folded = [
        name for part in drawing.svg.split('data-fold="')[1:] for name in part.partition('"')[0].split()
    ]
    assert len(folded) == len(set(folded))
    assert set(folded) | drawn == set(model.parts)


def test_a_shared_ground_in_focus_shows_that_it_is_shared():
    """That others hang on the same ground is what explains several complaints at once; folding must not hide it."""
    model = model_of(WIPER)
    drawing = draw(model, focus=frozenset({"K7.85"}))
    texts = " ".join(text for text, _ in drawing.boxes.texts)
    assert "E1" in texts
    assert "A2" in texts


def test_without_folding_focus_changes_nothing():
    model = model_of(WIPER)
    assert draw(model, focus=frozenset({"M9"}), fold=False).svg == draw(model).svg


def test_a_focus_on_nothing_known_draws_everything():
    model = model_of(WIPER)
    assert draw(model, focus=frozenset({"Z9"})).svg == draw(model).svg


# Texts


def test_widths_of_texts():
    """DejaVu Sans: 'M' is 1767 and 'i' 569 of 2048 units, from the font's own table; bold is wider."""
    assert text_width("M", 2048) == pytest.approx(1767, rel=2e-3)
    assert text_width("i", 2048) == pytest.approx(569, rel=2e-3)
    assert text_width("K7", 15, bold=True) > text_width("K7", 15)


def test_wrapping_keeps_to_the_room():
    lines = wrap("fuse box behind the glove box on the passenger's side", 12, 100, 2)
    assert len(lines) == 2
    assert all(text_width(line, 12) <= 100 for line in lines)
    assert lines[1].endswith("…")
    assert wrap("", 12, 100, 2) == ()
