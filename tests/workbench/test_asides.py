"""What the bench offers besides the next test: free looks, ticks, the alibi check, the trap, a try's price."""

import json
import re
from decimal import Decimal

import numpy as np
import pytest

from halfsplit import job as jobs
from halfsplit.job import Complaint, EarlierWork, Intake, JobSettings
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import from_json
from halfsplit.practice.vehicle import Vehicle

TWO_LAMPS = """title  Two lamps
battery G1
fuse F1 10 A
switch S1 off on
lamp H1 21 W "work lamp"
lamp H2 21 W "second lamp"
lamp H3 5 W "third lamp"
ground E1
connector X1
splice SP1
G1.+ -- F1 -- S1 -- SP1
SP1 -- X1.1 -- H1 -- E1
SP1 -- X1.2 -- H2 -- E1
SP1 -- X1.3 -- H3 -- E1
G1.- --[16mm2]-- E1
state "off"
state "on" S1 on
"""


@pytest.fixture
def two(store):
    intake = Intake(
        complaint=Complaint(how_often="intermittent"),
        settings=JobSettings(currency="EUR", hourly_rate=Decimal(90)),
    )
    jobs.open_job(store, intake, who="Ada", job_id="two", circuit=TWO_LAMPS)
    jobs.complain_all(OpenJob(store, "two", "Ada"), [("H1", "no", "on")])
    return "two"


def test_a_free_look_is_one_tap(client, store, two):
    view = jobs.bench_view(OpenJob(store, two))
    look, *others = jobs.free_looks(OpenJob(store, two))
    assert {view.tests[0].at, look.at, *(other.at for other in others)} >= {"H2", "H3"}
    assert view.tests[0].key not in [each.key for each in (look, *others)]  # a look is never offered twice
    assert (look.quantity, look.words) == ("works", ("yes", "weak", "no"))
    assert "Seen in seconds" in client.get("/jobs/two").text
    fragment = client.get(
        "/jobs/two", headers={"HX-Request": "true"}
    ).text  # the next test first, the rest after it
    assert "Seen in seconds" not in fragment
    assert "<svg" not in fragment.partition('id="drawn"')[2]
    assert "Seen in seconds" in client.get("/jobs/two/looks").text
    form = {"kind": "reading", "entry_id": "l", "place": json.dumps(dict(look.place)), "typed": "no"}
    client.post("/jobs/two/evidence", data=form)
    view = jobs.bench_view(OpenJob(store, two))
    assert look.key not in [one.key for one in jobs.free_looks(OpenJob(store, two))]  # it never asks twice
    assert view.suspects[0].part in ("S1", "F1", "G1.+", "F1.1", "F1.2")  # what both lamps share


def test_a_lamp_says_what_it_could_not_see(client, store, two):
    place = {"quantity": "lamp", "at": "X1.1:in", "state": "on", "instrument": "test lamp"}
    jobs.record(OpenJob(store, two, "Ada"), place, "bright")
    line = next(one for one in jobs.bench_view(OpenJob(store, two)).evidence if one.kind == "reading")
    assert "sees nothing under" in line.unseen
    assert line.unseen in client.get("/jobs/two").text


def test_the_price_of_a_try_is_price_and_time_over_its_chance(client, store, two):
    share = next(one.probability for one in jobs.bench_view(OpenJob(store, two)).suspects if one.part == "H1")
    card = jobs.try_part(OpenJob(store, two), "H1", Decimal(10), 20.0)
    assert card.cost == Decimal("40.00")  # 10 + 90 / 3
    assert float(card.per_cure) == pytest.approx(40 / share, rel=0.01)
    assert "40.00" in client.get("/jobs/two?show=try&part=H1&price=10&fitting=20").text


@pytest.mark.parametrize("query", ["part=Z9&price=1", "part=H1&price=abc", "part=H1&price=1&fitting=never"])
def test_a_try_that_cannot_be_priced_says_why(client, two, query):
    answer = client.get(f"/jobs/two?show=try&{query}")
    assert answer.status_code == 200
    assert 'class="note doubt"' in answer.text


def test_the_trap_is_for_the_intermittent_only(client, store, two, job):
    assert jobs.trap(OpenJob(store, two)).state == "on"
    assert "Catch it on a road test" in client.get("/jobs/two?show=trap&state=on").text
    assert "Catch it on a road test" not in client.get("/jobs/lamp").text


def test_the_alibi_check_names_those_that_give_the_same_readings(store, two):
    card = jobs.alibi(OpenJob(store, two))
    assert "X1.1" in card.rivals or "H1" in card.rivals
    assert card.tests
    assert not set(card.left) - set(card.rivals)


def test_what_a_point_should_read_is_told_healthy_and_for_each_suspect(client, two):
    text = client.get("/jobs/two?at=X1.1:in&quantity=volts&state=on").text
    assert "What should I see here?" in text
    assert "healthy" in text


def test_a_reading_can_be_made_again_from_the_record(client, store, two):
    place = {"quantity": "volts", "at": "X1.1:in", "state": "on", "instrument": "meter"}
    jobs.record(OpenJob(store, two, "Ada"), place, "12.4")
    again = next(one.place for one in jobs.bench_view(OpenJob(store, two)).evidence if one.kind == "reading")
    answer = client.get("/jobs/two", params={"place": json.dumps(again)})
    assert "measure volts from plug X1, pin 1, switch side" in answer.text


def test_the_letters_of_a_units_proof_are_ticked_in_words(client, store):
    text = jobs.sample("driver-high-side").text
    jobs.open_job(store, Intake(), who="Ada", job_id="unit", circuit=text)
    jobs.complain_all(OpenJob(store, "unit", "Ada"), [("H1", "no", "on")])
    circuit = jobs.check_text(text).circuit
    fault = circuit.fault("A1.12 never on")
    vehicle = Vehicle(circuit, fault, np.random.default_rng(2), noise=False)
    for number in range(20):
        view = jobs.bench_view(OpenJob(store, "unit"))
        asked = {one.place["detail"][0]: one for one in view.ticks}
        if any(words.startswith("coding") for words in asked):
            break
        place = view.tests[0].place
        value = vehicle.answer(from_json(place))
        typed = "OL" if value == float("inf") else str(value)
        jobs.record(OpenJob(store, "unit", "Ada"), place, typed, entry_id=f"r{number}", confirmed=True)
    tick = next(one for words, one in asked.items() if words.startswith("coding"))
    assert any(letter.startswith("(g)") for letter in view.finding.missing_proof)
    assert "Tick off" in client.get("/jobs/unit").text
    form = {"kind": "reading", "entry_id": "t", "place": json.dumps(dict(tick.place)), "typed": "good"}
    client.post("/jobs/unit/evidence", data=form)
    after = jobs.bench_view(OpenJob(store, "unit"))
    assert tick.key not in [one.key for one in after.ticks]
    assert not any(letter.startswith("(g)") for letter in after.finding.missing_proof)


def test_a_complaint_that_began_at_a_visit_raises_the_place_more(client, store):
    client.post("/jobs", data={"job_id": "v", "touched": "X1", "began_then": "1"})
    assert store.job("v").intake.earlier_work[0].began_then
    assert 'name="began_then" value="1" checked' in client.get("/jobs/v/intake").text
    shares = []
    for name, began in (("a", False), ("b", True)):
        intake = Intake(earlier_work=(EarlierWork(what="loom", touched=("X1",), began_then=began),))
        jobs.open_job(store, intake, who="Ada", job_id=name, circuit=TWO_LAMPS)
        jobs.complain_all(OpenJob(store, name, "Ada"), [("H1", "no", "on"), ("H2", "yes", "on")])
        suspects = jobs.bench_view(OpenJob(store, name)).suspects
        shares.append(next(one.probability for one in suspects if one.part == "X1.1"))
    assert shares[1] > 1.3 * shares[0]


def test_earlier_work_stored_before_there_was_the_tick_still_opens():
    from halfsplit.store.columns import Json

    old = '[{"what":"loom","on":null,"by":"","touched":["X1"]}]'
    kept = Json(tuple[EarlierWork, ...], 1000).process_result_value(old, None)
    assert kept == (EarlierWork(what="loom", touched=("X1",)),)


def test_saving_an_intake_keeps_every_earlier_visit(client, store):
    visits = tuple(
        EarlierWork(what=what, touched=(what,), by="a body shop", began_then=True)
        for what in ("E5", "X40", "H2")
    )
    jobs.open_job(store, Intake(earlier_work=visits), who="ada", job_id="w")
    page = client.get("/jobs/w/intake").text
    form = dict(re.findall(r'<input[^>]*? name="([^"]+)"[^>]*? value="([^"]*)"', page))
    form |= dict(re.findall(r'<textarea name="([^"]+)"[^>]*>([^<]*)</textarea>', page))
    assert client.post("/jobs/w/intake", data=form, follow_redirects=False).status_code == 303
    assert store.job("w").intake.earlier_work == visits
    form |= {"earlier-4": "a fourth", "touched-4": "X1, X2"}
    form["based_on"] = str(store.job("w").intake_version)
    assert client.post("/jobs/w/intake", data=form, follow_redirects=False).status_code == 303
    assert [work.touched for work in store.job("w").intake.earlier_work][3:] == [("X1", "X2")]
