"""The circuit by taps: text that a tap makes is read again by the notation itself; every pattern serves as a form."""

import pytest

from halfsplit import job as jobs
from halfsplit.errors import ConflictError, InputError
from halfsplit.job import Intake, Sheet
from halfsplit.job.open_job import OpenJob
from halfsplit.notation import edits

LAMP = """title  One lamp
battery G1   # in the engine bay
fuse F1 10 A "work lamp" at "fuse box"
lamp H1 21 W
ground E1
G1.+ --[2.5mm2 RD]-- F1 -- X1.1 -- H1 -- E1   # the only path
G1.- --[16mm2]-- E1
state "on"
"""
PATTERNS = [one.name for one in jobs.samples("pattern")]


def circuit(text):
    return jobs.check_text(text).circuit


@pytest.mark.parametrize("name", PATTERNS)
def test_a_pattern_is_a_form_its_parts_renamed_its_wires_recoloured(name):
    """Whatever is changed by taps leaves the same circuit but for what was changed."""
    text = jobs.sample(name).text
    before = circuit(text)
    part = next(one for one in before.parts.values() if one.kind not in ("battery", "mass"))
    number = next(n for n, wire in enumerate(before.model.wires) if not wire.unknown)
    text, sheet = jobs.tapped(text, Sheet(part=part.name), "keep", {"name": f"{part.name}9", "words": "mine"})
    text, sheet = jobs.tapped(text, Sheet(wire=number), "colour:", {})
    text, _ = jobs.tapped(text, sheet, "colour:PK", {})
    after = circuit(text)
    assert (after.parts[f"{part.name}9"].kind, after.parts[f"{part.name}9"].words) == (part.kind, "mine")
    assert after.parts.keys() ^ before.parts.keys() == {part.name, f"{part.name}9"}
    assert after.model.wires[number].colour == "PK"
    assert len(after.model.wires) == len(before.model.wires)
    assert after.states.keys() == before.states.keys()


@pytest.mark.parametrize("name", PATTERNS)
def test_every_pin_of_a_connector_and_of_a_control_unit_can_be_renumbered(name):
    text = jobs.sample(name).text
    for part in circuit(text).parts.values():
        if part.kind in ("connector", "module") and part.pins:
            changed = circuit(edits.repin(text, part.name, part.pins[-1], "77"))
            assert "77" in changed.parts[part.name].pins
            assert len(changed.parts[part.name].pins) == len(part.pins)


def test_comments_and_layout_stay():
    text = edits.rename(LAMP, "F1", "F21")
    text = edits.describe(text, "F21", words='work "lamp"', place="cabin", value="15 A")
    text = edits.colour(text, circuit(text).model.wires[0], "WH")
    assert 'fuse F21 15 A "work lamp" at "cabin"' in text
    assert "G1.+ --[2.5mm2 RD/WH]-- F21 -- X1.1 -- H1 -- E1   # the only path" in text
    assert "battery G1   # in the engine bay" in text


def test_a_part_is_taken_out_and_its_path_closes():
    after = circuit(edits.remove(LAMP, "X1"))
    assert [(wire.a, wire.b) for wire in after.model.wires][1] == ("F1.2", "H1.1")


@pytest.mark.parametrize(
    ("sheet", "act", "told", "said"),
    [
        (Sheet(part="F1"), "keep", {"name": "H1"}, "there already"),
        (Sheet(part="F1"), "keep", {"name": "fuse"}, "no name"),
        (Sheet(part="F1"), "keep", {"name": 'F1" x'}, "no name"),
        (Sheet(part="F1"), "value:a lot", {}, "cannot be done by a tap"),
        (Sheet(part="Z9"), "value:5 A", {}, "no part"),
        (Sheet(part="X1", pin="1"), "as:a b", {}, "no pin"),
        (Sheet(), "add:lamp", {}, "nothing to go on from"),
        (Sheet(end="Z1.1"), "add:lamp", {}, "no part"),
        (Sheet(end="F1.9"), "add:lamp", {}, "no point"),
        (Sheet(end="G1.+"), "add:bomb", {}, "cannot be added"),
        (Sheet(wire=99), "colour:RD", {}, "no wire"),
        (Sheet(wire=0), "colour:XX", {}, "no colour"),
        (Sheet(wire=0), "mm2:-1", {}, "no cross-section"),
        (Sheet(), "explode:", {}, "nothing that can be tapped"),
    ],
)
def test_what_cannot_be_done_is_told_and_changes_nothing(sheet, act, told, said):
    with pytest.raises(InputError, match=said):
        jobs.tapped(LAMP, sheet, act, told)


def test_a_text_with_mistakes_is_for_the_editor():
    with pytest.raises(ConflictError, match="mistakes"):
        jobs.tap_view("lamp H1 -- nonsense\n", Sheet())


@pytest.fixture
def bare(store):
    return jobs.open_job(store, Intake(), who="Ada", job_id="bare").job_id


def tap(client, act, **more):
    return client.post("/jobs/bare/circuit/taps", data={"act": act} | more, headers={"HX-Request": "true"})


def test_taps_are_stored_one_by_one_and_taken_back_one_by_one(client, store, bare):
    assert "Empty sheet" in client.get("/jobs/bare/circuit/taps").text
    tap(client, "keep")
    tap(client, "add:fuse", end="G1.+")
    answer = tap(client, "add:lamp", end="F1.2", part="F1", name="F7")
    assert circuit(store.circuit("bare").text).parts.keys() == {"G1", "E1", "F7", "H1"}
    undo = answer.text.split('name="undo" value="')[1].split('"')[0]
    answer = tap(client, "undo", undo=undo)
    assert circuit(store.circuit("bare").text).parts.keys() == {"G1", "E1", "F1"}
    undo = answer.text.split('name="undo" value="')[1].split('"')[0]
    tap(client, "undo", undo=undo)
    assert circuit(store.circuit("bare").text).parts.keys() == {"G1", "E1"}
    assert len(store.whole_job("bare").circuits) == 5


def test_somebody_elses_taps_are_not_overwritten(client, store, bare):
    tap(client, "keep")
    tap(client, "add:fuse", end="G1.+", based_on="1")
    answer = tap(client, "add:lamp", end="G1.+", based_on="1")
    assert 'role="alert"' in answer.text
    assert circuit(store.circuit("bare").text).parts.keys() == {"G1", "E1", "F1"}


def test_the_photo_of_the_diagram_stands_beside(client, store, bare, png):
    answer = client.post("/jobs/bare/circuit/diagram?then=taps", files={"photo": ("page 3.png", png, "x/y")})
    assert answer.headers["location"] == "/jobs/bare/circuit/taps"
    kept = store.attachments("bare")[0]
    assert f"/jobs/bare/files/{kept.attachment_id}" in client.get("/jobs/bare/circuit/taps").text
    refused = client.post(
        "/jobs/bare/circuit/diagram", files={"photo": ("a.png", b"\x00\x01 no picture", "image/png")}
    )
    assert refused.status_code == 422


def test_without_a_circuit_the_first_test_stands_after_one_form(client, store, bare):
    """'Name the load and its wires; the first test is loaded volts on its feed and its ground': asked once."""
    client.post(
        "/jobs/bare/circuit/sketch", data={"kind": "motor", "words": "rear wiper", "feed_colour": "GN"}
    )
    view = jobs.bench_view(OpenJob(store, "bare"))
    assert view.complaints
    first = view.tests[0]
    assert first.quantity == "volts"
    assert any(lead.startswith("M1.") for lead in (first.at, first.to or ""))
