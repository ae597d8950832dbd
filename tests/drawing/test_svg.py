"""What a browser, a screen reader and a report need of the SVG."""

import re
import xml.etree.ElementTree as ET

import pytest
import typst

from halfsplit.circuit.model import Model, Part, Wire
from halfsplit.drawing import CSS, Overlays, draw, paint_plan, plan
from halfsplit.notation.reading import parse
from tests.circuits import WASH_WIPE as WIPER
from tests.drawing.circuits import SENSORS, drawn, vehicle

SVG = "{http://www.w3.org/2000/svg}"
NASTY = '</text><script>alert("x")</script> & \' "'


def model_of(text):
    return parse(text)[0]


def targets(drawing, attribute):
    root = ET.fromstring(drawing.svg)
    return {node.get(attribute): node for node in root.iter(f"{SVG}g") if node.get(attribute)}


def test_points_and_parts_can_be_picked_by_name():
    model = model_of(WIPER)
    drawing = draw(model)
    points = targets(drawing, "data-point")
    parts = targets(drawing, "data-part")
    assert set(parts) == set(model.parts)
    assert {"K7.30", "X31.4:in", "X31.4:out", "SP5", "E4", "G1.-", "A2.12"} <= set(points)
    for node in [*points.values(), *parts.values()]:
        assert node.get("role") == "button"
        assert node.get("tabindex") == "0"
        assert node.find(f"{SVG}title").text == node.get("aria-label")


@pytest.mark.parametrize("text", [WIPER, SENSORS, vehicle(20)], ids=["wiper", "sensors", "20"])
def test_targets_are_large_enough_for_a_gloved_finger(text):
    for name, (left, top, right, bottom) in drawn(text).boxes.targets:
        assert right - left >= 44, name
        assert bottom - top >= 44, name


def test_nothing_that_a_strict_content_security_policy_forbids():
    svg = draw(model_of(SENSORS), suspicion={"A1": 0.4}).svg
    root = ET.fromstring(svg)
    for node in root.iter():
        assert node.tag != f"{SVG}script"
        assert node.tag != f"{SVG}style"
        assert not [
            name for name in node.attrib if name == "style" or name.startswith("on") or "href" in name
        ]


def test_every_class_has_its_rule():
    over = dict.fromkeys(("K1", "A1", "V1", "E9", "SP1", "wire SP15 V1.a"), 0.9)
    drawing = draw(model_of(SENSORS), suspicion=over, focus=frozenset({"M1", "A1", "V1"}))
    used = {name for found in re.findall(r'class="([^"]*)"', drawing.svg) for name in found.split()}
    ruled = set(re.findall(r"\.([a-zA-Z][\w-]*)", CSS))
    without_rule = {
        "symbol",
        "a-start",
        "note",
        "value",
        "words",
        "mark",
        "part",
        "texts",
        "halos",
        "links",
        "wires",
    }
    without_rule |= {"symbols", "dots", "targets", *(part.kind for part in model_of(SENSORS).parts.values())}
    without_rule |= {"coil", "contact", "cavity"}
    assert used - ruled <= without_rule


def test_texts_are_escaped():
    parts = {
        "F1": Part("F1", "fuse", ("1", "2"), words=NASTY, place=NASTY),
        "A1": Part("A1", "module", ("1",), words=NASTY),
        "H1": Part("H1", "lamp", ("1", "2")),
    }
    wires = (Wire("F1.2", "H1.1", 1.5, colour=NASTY), Wire("H1.2", "A1.1"))
    model = Model(NASTY, parts=parts, wires=wires)
    drawing = draw(model, readings={"H1.1": NASTY}, expected={"H1.1": NASTY}, focus=frozenset({NASTY}))
    root = ET.fromstring(drawing.svg)
    assert not list(root.iter(f"{SVG}script"))
    assert NASTY in (targets(drawing, "data-part")["A1"].get("aria-label"))


def test_the_same_circuit_gives_the_same_drawing():
    model, again = model_of(vehicle(15)), model_of(vehicle(15))
    assert draw(model).svg == draw(again).svg


def test_suspicion_is_a_number_and_a_shade():
    drawing = draw(
        model_of(WIPER), suspicion={"X31.4": 0.58, "M9.1": 0.26, "wire X31.2 E4": 0.12, "K7": 0.001}
    )
    texts = [text for text, _ in drawing.boxes.texts]
    assert texts.count("58 %") == texts.count("26 %") == texts.count("12 %") == 1
    assert "suspicion 58%" in targets(drawing, "data-part")["X31"].get("aria-label")
    assert "suspicion" not in targets(drawing, "data-part")["K7"].get("aria-label")
    assert {"suspicion-4", "suspicion-3", "suspicion-2"} <= set(re.findall(r"suspicion-\d", drawing.svg))


def test_readings_stand_at_their_points():
    drawing = draw(
        model_of(WIPER), readings={"X31.4:out": "8.9 V"}, expected={"X31.4:out": "12.1 V", "SP5": "12.5 V"}
    )
    boxes = dict(drawing.boxes.targets)
    for text, point in (
        ("8.9 V", "X31.4:out"),
        ("should be 12.1 V", "X31.4:out"),
        ("should be 12.5 V", "SP5"),
    ):
        (_, top, right, bottom) = boxes[point]
        (box,) = [box for found, box in drawing.boxes.texts if found == text]
        assert box[0] < right + 20
        assert top - 10 < box[1]
        assert box[3] < bottom + 10
    label = targets(drawing, "data-point")["X31.4:out"].get("aria-label")
    assert label == "X31.4:out, reads 8.9 V, should be 12.1 V"


def test_a_plan_is_painted_again_with_each_reading():
    model = model_of(WIPER)
    arranged = plan(model)
    readings = {"M9.1": "8.9 V"}
    assert paint_plan(arranged, Overlays(readings=readings)).svg == draw(model, readings=readings).svg


def test_an_empty_circuit_is_an_empty_drawing():
    drawing = draw(Model())
    assert ET.fromstring(drawing.svg).get("class") == "drawing"
    assert drawing.boxes.symbols == ()


def test_a_wide_page_spreads_the_columns_and_a_narrow_one_narrows_the_labels():
    model = model_of(WIPER)
    natural = draw(model).width
    assert natural + 80 < draw(model, width=natural + 100).width <= natural + 100
    assert draw(model, width=390).width < natural


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_standalone_svg_is_rendered_by_another_program(theme):
    """typst, which the reports are made with, knows no custom properties and must find every colour in the file."""
    drawing = draw(model_of(WIPER), standalone=True, theme=theme, suspicion={"M9": 0.5})
    assert "var(" not in drawing.svg
    page = '#set page(width: auto, height: auto, margin: 0pt)\n#image(bytes(sys.inputs.at("svg")), format: "svg")'
    png = typst.compile(
        page.encode(), format="png", ppi=72, sys_inputs={"svg": drawing.svg}, ignore_system_fonts=True
    )
    blank = typst.compile(
        page.encode(),
        format="png",
        ppi=72,
        sys_inputs={"svg": re.sub(r"<g .*</g>", "", drawing.svg)},
        ignore_system_fonts=True,
    )
    assert len(png) > 3 * len(blank)
