"""The clock of the server is put back between two requests: nothing is lost, nobody is shut out, order stays."""

import sys
from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest

from halfsplit import job as jobs
from halfsplit.errors import ConflictError
from halfsplit.job import JobStore, verbs
from halfsplit.job.open_job import OpenJob
from halfsplit.job.verbs import start_step, stop_step
from halfsplit.store import export_job, import_job
from halfsplit.workbench import accounts

from .conftest import PASSWORD

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def clock(monkeypatch):
    """A function that sets the clock, hours from noon."""
    hands = [NOON]
    for module in (sys.modules["halfsplit.job.open_job"], verbs, jobs, accounts):
        monkeypatch.setattr(module, "now", lambda: hands[0])

    def put(hours):
        hands[0] = NOON + timedelta(hours=hours)

    return put


def test_who_has_to_wait_waits_no_longer_than_he_is_told(signed_in, clock):
    client = signed_in("technician")
    for _ in range(accounts.TRIES["device"]):
        assert guess(client, "a wrong one") == 401
    for hours in (0, -3, -6):  # each time the clock is put back, by longer than any wait
        clock(hours)
        waits = client.post("/sign-in", data={"name": "technician", "password": PASSWORD})
        assert waits.status_code == 429
        seconds = int(waits.headers["Retry-After"])
        assert seconds <= accounts.FIRST_WAIT.total_seconds()
    clock(-6 + (seconds + 1) / 3600)
    assert guess(client, PASSWORD) == 303


def guess(client, password):
    return client.post("/sign-in", data={"name": "technician", "password": password}).status_code


def test_guesses_are_counted_though_the_clock_goes_back_before_each(signed_in, clock):
    client, answers = signed_in("technician"), []
    for number in range(accounts.TRIES["device"] + 4):
        clock(-2 * number)
        answers.append(guess(client, "a wrong one"))
    assert answers.count(401) == accounts.TRIES["device"]


def test_an_open_session_stays(signed_in, clock):
    client = signed_in("technician")
    clock(-48)
    assert client.get("/jobs").status_code == 200


PLACE = {"quantity": "volts", "at": "F1.2", "to": None, "state": "on", "instrument": "meter", "changes": []}


def test_entries_keep_their_order_and_the_job_goes_on(client, store, job, clock, tmp_path):
    bob = OpenJob(store, job, "Bob")
    for hours, volts in ((0, "12.4 V"), (-5, "12.3 V"), (-10, "12.2 V")):
        clock(hours)
        jobs.record(bob, PLACE, volts, confirmed=True)
    read = [entry for entry in store.evidence(job) if entry.kind == "reading" and "value" in entry.payload]
    assert [entry.payload["value"] for entry in read[-3:]] == [12.4, 12.3, 12.2]
    assert [change.sequence for change in store.changes_since(job, 0)] == sorted(
        change.sequence for change in store.changes_since(job, 0)
    )
    assert client.post(f"/jobs/{job}/evidence/{read[-1].entry_id}/undo").status_code == 303
    assert store.job(job).changed_at >= NOON  # never earlier than a change that came before
    assert client.get(f"/jobs/{job}").status_code == 200
    archive = BytesIO()
    export_job(store, job, archive)
    archive.seek(0)
    with JobStore(f"sqlite:///{tmp_path}/other.db") as other:
        import_job(other, archive, who="Bob", at=NOON - timedelta(days=400))
        assert other.evidence(job) == store.evidence(job)


def test_minutes_that_cannot_be_told_are_asked_for(store, job, clock):
    bob = OpenJob(store, job, "Bob")
    step = start_step(bob, "looking")
    clock(-1)
    with pytest.raises(ConflictError, match="clock was put back"):
        stop_step(bob, step.step_id)
    clock(0.5)
    assert stop_step(bob, step.step_id).minutes == 30.0
