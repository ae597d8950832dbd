"""The plan of a job on its page: worked out beside the server, kept, told as old, printed."""

import html
import re

import pytest

from halfsplit import job as jobs
from halfsplit.job import Intake, planning
from halfsplit.job.open_job import OpenJob
from halfsplit.job.working import name_of, workers
from tests.circuits import ONE_LAMP as LAMP
from tests.waiting import PATIENCE

from .echo_app import endless


def told(answer) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def work_of(store, job):
    return workers.of(name_of(store, planning.PLAN, job))


@pytest.fixture(scope="module")
def document():
    """A plan of the lamp as it is worked out in its own process."""
    heard = []
    entry = jobs.EvidenceEntry(
        entry_id="c",
        kind="complaint",
        at=jobs.now(),
        who="Ada",
        payload={"load": "H1", "works": "no", "state": "on"},
    )
    made = planning.worked_out(LAMP, Intake(), [entry], 4, lambda *one: heard.append(one))
    assert heard == [(n, 4) for n in range(5)]
    return made


@pytest.fixture
def planned(store, job, document):
    """A job with a plan that was worked out for what it knows."""
    job_now, entries = store.job(job), store.evidence(job)
    kept = {**document, "basis": planning.basis(job_now, entries), "largest": 10}
    OpenJob(store, job, "Ada").keep_shown(planning.PLAN, kept, after=0)
    return job


def test_a_plan_is_worked_out_beside_the_server_and_kept(client, store, job, monkeypatch):
    monkeypatch.setattr(planning, "SIZES", {2: "tiny"})
    page = client.get(f"/jobs/{job}/plan")
    assert "No plan yet" in told(page)
    assert client.post(f"/jobs/{job}/plan", data={"steps": "2"}).headers["location"] == f"/jobs/{job}/plan"
    work = work_of(store, job)
    assert work.going
    going = client.get(f"/jobs/{job}/plan")
    assert f'hx-get="/jobs/{job}/plan/state"' in going.text
    assert "<progress" in going.text
    assert client.get(f"/jobs/{job}").status_code == 200  # the bench answers meanwhile
    assert work.ended.wait(PATIENCE)
    assert (work.state, work.problem) == ("done", "")
    assert work.made == 2
    done = client.get(f"/jobs/{job}/plan/state")
    assert "hx-get" not in done.text
    assert "H1 does not work (on)" in told(done)
    assert len(store.shown(job, planning.PLAN)) == 1


def test_the_page_tells_each_step_its_results_and_where_they_lead(client, planned, document):
    page = client.get(f"/jobs/{planned}/plan")
    words = told(page)
    for step in document["steps"]:
        assert step["sentence"] in words
        assert f'id="step-{step["number"]}"' in page.text
        for branch in step["branches"]:
            assert branch["text"] in words
            if branch["left"]:
                assert f"Use the tool from here : {branch['left']}" in words.replace("here:", "here :")
    for target in re.findall(r'href="#([^"]+)"', page.text):
        assert f'id="{target}"' in page.text
    for ending in document["endings"]:
        assert all(one in words for one in ending["proof"])


def test_a_plan_is_told_as_old_once_the_job_knows_more(client, store, planned):
    assert "knows more than this plan" not in told(client.get(f"/jobs/{planned}/plan"))
    place = {"quantity": "volts", "at": "H1.1", "state": "on", "instrument": "meter"}
    jobs.record(OpenJob(store, planned, "Ada"), place, "12.4", entry_id="r1")
    page = told(client.get(f"/jobs/{planned}/plan"))
    assert "knows more than this plan" in page
    assert "1 reading included" in page


def test_the_plan_is_printed(client, store, planned, job):
    answer = client.get(f"/jobs/{planned}/plan.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")


def test_what_is_lacking_is_told_with_where_to_go(client, store):
    jobs.open_job(store, Intake(), who="Ada", job_id="bare")
    assert "A plan needs a circuit" in told(client.get("/jobs/bare/plan"))
    jobs.save_circuit(OpenJob(store, "bare", "Ada"), LAMP)
    page = client.get("/jobs/bare/plan")
    assert "A plan needs a complaint" in told(page)
    assert 'href="/jobs/bare"' in page.text
    assert client.post("/jobs/bare/plan").status_code == 409
    assert client.get("/jobs/bare/plan.pdf").status_code == 404
    assert client.get("/jobs/none/plan").status_code == 404


def test_a_plan_that_is_left_keeps_nothing(client, store, job, monkeypatch):
    monkeypatch.setattr(planning, "worked_out", endless)
    client.post(f"/jobs/{job}/plan", data={"steps": "<b>"})
    work = work_of(store, job)
    client.post(f"/jobs/{job}/plan")
    assert work_of(store, job) is work
    assert client.post(f"/jobs/{job}/plan/stop").status_code == 303
    assert work.ended.wait(PATIENCE)
    assert work.state == "stopped"
    assert store.shown(job, planning.PLAN) == ()
    assert "No plan yet" in told(client.get(f"/jobs/{job}/plan"))


def test_who_may_only_look_begins_no_plan(signed_in, job):
    viewer = signed_in("viewer")
    page = viewer.get(f"/jobs/{job}/plan")
    assert page.status_code == 200
    assert "Work out" not in told(page)
    assert viewer.post(f"/jobs/{job}/plan").status_code == 403
