"""The pages as a browser asks for them: stored before it is said, asked about where in doubt, and never broken."""

import json
import re

import pytest

from halfsplit import job as jobs
from halfsplit.job import Intake
from halfsplit.job.open_job import OpenJob

PLACE = {
    "quantity": "volts",
    "at": "X1.1:in",
    "to": None,
    "state": "on",
    "instrument": "meter",
    "changes": [],
    "detail": [],
}
HOSTILE = "\"><script>alert(1)</script>'{{7*7}}<svg onload=x>"


LONGEST = {"registration": 20, "vin": 30}


def send(client, typed, **more):
    form = {
        "kind": "reading",
        "entry_id": "e-1",
        "place": json.dumps(PLACE),
        "typed": typed,
        "unit": "V",
    } | more
    return client.post("/jobs/lamp/evidence", data=form, headers={"HX-Request": "true"})


def readings(store):
    return [entry for entry in store.evidence("lamp") if entry.kind == "reading"]


def test_every_page_opens_with_a_strict_policy(client, job):
    for path in (
        "/jobs",
        "/jobs/new",
        "/jobs/lamp",
        "/jobs/lamp/circuit",
        "/jobs/lamp/intake",
        "/jobs/lamp/report",
        "/jobs/lamp/report?for=workshop",
        "/settings",
        "/people",
        "/audit",
    ):
        answer = client.get(path)
        assert answer.status_code == 200, path
        assert "'unsafe" not in answer.headers["Content-Security-Policy"]
        assert not re.search(r"<style|\son\w+=|\sstyle=|<script(?![^>]*\ssrc=)", answer.text), path


def test_a_reading_is_stored_once_and_the_bench_shows_it(client, store, job):
    first, again = send(client, "12.4"), send(client, "12.4")
    assert (first.status_code, again.status_code) == (200, 200)
    assert [entry.payload["value"] for entry in readings(store)] == [12.4]
    assert "12.4 V" in first.text
    assert client.get("/jobs/lamp").text.count('id="e-e-1"') == 1


@pytest.mark.parametrize(
    ("typed", "said", "can_confirm"),
    [
        ("12,300", "did you mean 12.3 V", True),
        ("400", "More than 16.8 V", True),
        ("NaN", "not a number", False),
        ("3 ohm", "volts expected", False),
        ("", "missing", False),
        ("1e999", "too large", False),
    ],
)
def test_a_doubtful_reading_is_asked_about_and_not_stored(client, store, job, typed, said, can_confirm):
    answer = send(client, typed)
    assert answer.status_code == 422
    assert said.lower() in answer.text.lower()
    assert ('name="confirmed"' in answer.text) == can_confirm
    assert not typed or typed in answer.text  # nothing typed is lost
    assert readings(store) == []


def test_a_confirmed_reading_is_stored(client, store, job):
    send(client, "400")
    assert send(client, "400", confirmed="1").status_code == 200
    assert [entry.payload["value"] for entry in readings(store)] == [400.0]


def test_a_bad_feed_joint_leads_the_suspects_and_strike_out_takes_it_back(client, store, job):
    before = jobs.bench_view(OpenJob(store, job)).suspects[0]
    send(client, "12.4")
    place = PLACE | {"at": "X1.1:out"}
    client.post(
        "/jobs/lamp/evidence",
        data={"kind": "reading", "entry_id": "e-2", "place": json.dumps(place), "typed": "0.02"},
    )
    assert jobs.bench_view(OpenJob(store, job)).suspects[0].part == "X1.1"
    for entry in ("e-1", "e-2"):
        answer = client.post(f"/jobs/lamp/evidence/{entry}/strike", data={"reason": "probe slipped"})
        assert answer.status_code == 303
    view = jobs.bench_view(OpenJob(store, job))
    assert view.suspects[0] == before
    assert [line.struck for line in view.evidence if line.kind == "reading"] == [
        "probe slipped",
        "probe slipped",
    ]
    by = next(line.struck_by for line in view.evidence if line.entry_id == "e-2")
    assert f"/jobs/lamp/evidence/{by}/strike" in client.get("/jobs/lamp").text
    client.post(f"/jobs/lamp/evidence/{by}/strike", data={"reason": "it was right after all"})
    again = {line.entry_id: line.struck for line in jobs.bench_view(OpenJob(store, job)).evidence}
    assert (again["e-1"], again["e-2"]) == ("probe slipped", "")


def test_what_cannot_be_done_is_not_proposed_again(client, store, job):
    test = jobs.bench_view(OpenJob(store, job)).tests[0]
    form = {"kind": "cannot", "entry_id": "c-1", "place": json.dumps(dict(test.place)), "why": "seized bolt"}
    assert client.post("/jobs/lamp/evidence", data=form).status_code == 303
    assert test.key not in [one.key for one in jobs.bench_view(OpenJob(store, job)).tests]


def test_a_point_of_ones_own_choice_can_be_measured(client, job):
    answer = client.get("/jobs/lamp?at=F1.2&quantity=volts&state=on")
    assert "measure volts from fuse F1, pin 2 to battery negative post" in answer.text
    assert "Not measured there" in client.get("/jobs/lamp?at=Z9.9").text


def test_a_circuit_with_mistakes_is_kept_and_told_line_by_line(client, store, job):
    text = "battery G1\nlamp H1 -- nonsense\n"
    answer = client.post("/jobs/lamp/circuit", data={"text": text, "based_on": "1"})
    assert answer.status_code == 303
    assert store.circuit("lamp").text == text
    shown = client.get("/jobs/lamp/circuit").text
    assert 'data-go-line="2"' in shown
    assert "Correct the circuit" in client.get("/jobs/lamp").text


def test_somebody_elses_circuit_is_not_overwritten(client, store, job):
    client.post("/jobs/lamp/circuit", data={"text": "battery G1\n", "based_on": "1"})
    answer = client.post("/jobs/lamp/circuit", data={"text": "my own text", "based_on": "1"})
    assert answer.status_code == 409
    assert "my own text" in answer.text
    assert store.circuit("lamp").text == "battery G1\n"


def test_a_job_begins_without_a_circuit(client, store):
    store.open_job("bare", Intake(), who="Ada", at=jobs.now())
    form = {
        "kind": "motor",
        "words": "rear wiper",
        "amount": "4 A",
        "feed_colour": "GN",
        "switched": "switch",
    }
    assert client.post("/jobs/bare/circuit/sketch", data=form).status_code == 303
    view = jobs.bench_view(OpenJob(store, "bare"))
    assert view.circuit.usable
    shown = client.get("/jobs/bare").text
    assert "Next test" in shown
    assert "What is wrong?" not in shown  # it was asked with the sketch


def test_a_new_job_needs_nothing_and_is_opened_once(client, store):
    for _ in range(2):
        assert client.post("/jobs", data={"job_id": "new-1"}).status_code == 303
    assert [job.job_id for job in store.list_jobs()] == ["new-1"]


def test_what_cannot_be_used_in_an_intake_is_told_and_the_rest_is_kept(client, store):
    answer = client.post(
        "/jobs", data={"job_id": "n", "complaint": "no wipe", "battery": "126", "odometer": "many"}
    )
    assert answer.status_code == 422
    assert "no wipe" in answer.text
    assert 'value="126"' in answer.text
    assert store.list_jobs() == ()


@pytest.mark.parametrize(
    "field", ["complaint", "when", "vehicle", "registration", "vin", "earlier", "touched", "customer"]
)
def test_hostile_text_stays_text(client, store, field):
    client.post("/jobs", data={"job_id": "bad", field: HOSTILE[: LONGEST.get(field, 99)]})
    jobs.save_circuit(OpenJob(store, "bad", "Ada"), f'title {HOSTILE}\nlamp H1 "<script>"')
    for path in (
        "/jobs",
        "/jobs/bad",
        "/jobs/bad/intake",
        "/jobs/bad/circuit",
        "/jobs/bad/report?for=workshop",
    ):
        text = client.get(path).text
        assert "<script>alert" not in text
        assert "<svg onload" not in text


def test_a_photo_is_served_as_a_picture_and_html_is_refused(client, store, job):
    jpeg = b"\xff\xd8\xff\xe0" + bytes(range(256))
    send(client, "12.4")
    assert (
        client.post(
            "/jobs/lamp/photos", data={"entry_id": "e-1"}, files={"photo": ("../../x.jpg", jpeg)}
        ).status_code
        == 303
    )
    kept = store.attachments("lamp")[0]
    answer = client.get(f"/jobs/lamp/files/{kept.attachment_id}")
    assert (answer.content, answer.headers["content-type"]) == (jpeg, "image/jpeg")
    assert ".." not in answer.headers["content-disposition"]
    refused = client.post("/jobs/lamp/photos", files={"photo": ("x.jpg", b"<html><script>1</script>")})
    assert refused.status_code == 422


def test_the_job_goes_out_as_pdf_and_as_one_file(client, job):
    for audience in ("customer", "workshop"):
        assert client.get(f"/jobs/lamp/report.pdf?for={audience}").content.startswith(b"%PDF-")
    assert client.get("/jobs/lamp/export").content.startswith(b"PK")


def test_from_complaint_through_repair_and_second_look_to_the_end(client, store, job):
    place = {"quantity": "works", "at": "H1", "state": "on"}
    client.post(
        "/jobs/lamp/evidence",
        data={"kind": "repair", "entry_id": "r", "what": "cavity renewed", "part": "X1.1"},
    )
    assert store.job("lamp").state == "repaired"
    assert [check.state for check in jobs.bench_view(OpenJob(store, job)).checks] == ["open"]
    form = {"kind": "reading", "entry_id": "s", "place": json.dumps(place), "typed": "no"}
    client.post("/jobs/lamp/evidence", data=form)
    assert [check.state for check in jobs.bench_view(OpenJob(store, job)).checks] == ["bad"]
    assert "Reopen the suspects" in client.get("/jobs/lamp").text
    client.post("/jobs/lamp/evidence", data=form | {"entry_id": "t", "typed": "yes"})
    assert [check.state for check in jobs.bench_view(OpenJob(store, job)).checks] == ["good"]
    closing = {"complaint": "lamp dark", "cause": "cavity X1.1", "correction": "renewed"}
    assert client.post("/jobs/lamp/close", data=closing).status_code == 303
    assert send(client, "12.4", entry_id="late").status_code == 409


def test_changes_are_streamed_to_the_others(client, store, job):
    assert store.changes_since("lamp", 0)
    assert client.get("/jobs/none/changes").status_code == 404


def test_time_and_money_add_up(client, store, job):
    client.post("/settings", data={"currency": "EUR", "rate": "90"})
    client.post("/jobs/lamp/steps", data={"what": "search", "minutes": "20"})
    client.post("/jobs/lamp/parts", data={"name": "terminal", "price": "1,20", "use": "fitted"})
    client.post("/jobs/lamp/limit", data={"amount": "30", "by_whom": "the owner"})
    costs = jobs.bench_view(OpenJob(store, job)).costs
    assert (str(costs.total), costs.over) == ("31.20", True)
    assert "over the authorised limit" in client.get("/jobs/lamp").text


def test_the_list_of_jobs_tells_how_far_each_is(client, store, job):
    client.get("/jobs/lamp")
    assert re.search(r"\d+ suspects? left", client.get("/jobs").text)
