"""The verbs of a job, on a store: a whole job on a simulated vehicle, and that suspects are only what the record says.

The vehicle (`halfsplit.practice.vehicle`) is solved with parameters of its own; it shares no prediction with the
diagnosis. The demo that it carries is invented.
"""

import shutil

import numpy as np
import pytest

from halfsplit import job as jobs
from halfsplit.errors import ConflictError, InputError
from halfsplit.job import Doubt, EarlierWork, Intake, JobSettings, JobStore
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import from_json
from halfsplit.notation.demos import demo
from halfsplit.practice.vehicle import Vehicle
from tests.circuits import ONE_LAMP as LAMP

DEMO = "rear-lamps"
MOST_TESTS = 25
VOLTS = {"quantity": "volts", "at": "X1.1:in", "to": None, "state": "on", "instrument": "meter"}


@pytest.fixture
def lamp(store):
    """A job on one lamp that stays dark."""
    jobs.open_job(store, Intake(), who="Ada", job_id="lamp", circuit=LAMP)
    jobs.complain_all(OpenJob(store, "lamp", "Ada"), [("H1", "no", "on")])
    return "lamp"


def demo_vehicle(name=DEMO):
    circuit = jobs.check_text(demo(name).text).circuit
    return Vehicle(circuit, circuit.fault(demo(name).hidden), np.random.default_rng(3), noise=False)


def typed(value):
    return "OL" if value == float("inf") else str(value)


def measured(store, job_id, vehicle, place, number):
    """Answer a place with what the vehicle shows; a number that is asked about is confirmed, as it was read."""
    value = typed(vehicle.answer(from_json(place)))
    jobs.record(
        OpenJob(store, job_id, "Ada"), place, value, entry_id=f"r{number}", present="yes", confirmed=True
    )


def taken_in(store, name=DEMO):
    told = demo(name)
    jobs.open_job(store, Intake(), who="Ada", job_id="j", circuit=told.text)
    said = [(one.part, one.works, one.state) for one in told.complaints]
    jobs.complain_all(OpenJob(store, "j", "Ada"), said)
    return "j"


def until_proven(store, job_id, vehicle):
    for number in range(MOST_TESTS):
        view = jobs.bench_view(OpenJob(store, job_id))
        if view.finding and view.finding.proven:
            return view
        measured(store, job_id, vehicle, view.tests[0].place, number)
    raise AssertionError(f"not proven after {MOST_TESTS} tests: {view.finding}")


@pytest.fixture(scope="module")
def proven(tmp_path_factory):
    """The file of a store in which the demo job is proven."""
    path = tmp_path_factory.mktemp("proven") / "jobs.db"
    with JobStore(f"sqlite:///{path}") as played:
        until_proven(played, taken_in(played), demo_vehicle())
    return path


@pytest.fixture
def played(proven, tmp_path):
    """A store of one's own with the proven demo job, its vehicle, and what the bench shows of it."""
    with JobStore(f"sqlite:///{shutil.copy(proven, tmp_path / 'played.db')}") as store:
        yield store, demo_vehicle(), jobs.bench_view(OpenJob(store, "j"))


def test_the_demo_job_from_complaint_to_proof_repair_second_look_and_report(played):
    (store, vehicle, view), job_id = played, "j"
    assert view.finding.cause.split(" high")[0] == demo(DEMO).hidden.split(" high")[0]
    said = {"what": view.finding.repair, "part": view.finding.part}
    jobs.take(OpenJob(store, job_id, "Ada"), "repair", said, entry_id="repair")
    checks = jobs.bench_view(OpenJob(store, job_id)).checks
    assert checks
    assert {check.state for check in checks} == {"open"}
    vehicle.repair(vehicle.fault.part)
    for number, check in enumerate(checks):
        measured(store, job_id, vehicle, check.place, f"again-{number}")
    assert {check.state for check in jobs.bench_view(OpenJob(store, job_id)).checks} == {"good"}
    jobs.close(
        OpenJob(store, job_id, "Ada"),
        complaint="dim",
        cause=view.finding.cause,
        correction=view.finding.repair,
    )
    assert store.job(job_id).state == "closed"
    for audience in ("customer", "workshop"):
        assert jobs.report_pdf(OpenJob(store, job_id), audience).startswith(b"%PDF-")


def test_a_repair_that_changed_nothing_is_told_and_the_suspects_are_reopened(played):
    (store, vehicle, view), job_id = played, "j"
    jobs.take(OpenJob(store, job_id, "Ada"), "repair", {"what": "H1 renewed", "part": "H1"})
    for number, check in enumerate(jobs.bench_view(OpenJob(store, job_id)).checks):
        measured(store, job_id, vehicle, check.place, f"again-{number}")
    assert "bad" in {check.state for check in jobs.bench_view(OpenJob(store, job_id)).checks}
    jobs.take(OpenJob(store, job_id, "Ada"), "reopened", {"text": "the repair did not cure it"})
    reopened = jobs.bench_view(OpenJob(store, job_id))
    assert reopened.checks == ()
    assert reopened.tests
    assert len(reopened.evidence) > len(view.evidence)  # nothing of the first round is lost


def test_the_suspects_are_what_the_record_says_whoever_asks(store, lamp, tmp_path):
    jobs.record(OpenJob(store, lamp, "Ada"), VOLTS, "12.4")
    jobs.record(OpenJob(store, lamp, "Ada"), VOLTS | {"at": "X1.1:out"}, "0.02")
    heard = jobs.bench_view(OpenJob(store, lamp))
    with JobStore(f"sqlite:///{tmp_path}/jobs.db") as another:  # knows nothing but the store
        again = jobs.bench_view(OpenJob(another, lamp))
    assert [one.part for one in again.suspects] == [one.part for one in heard.suspects]
    assert [one.probability for one in again.suspects] == pytest.approx(
        [one.probability for one in heard.suspects]
    )


def test_a_reading_that_is_sent_twice_is_stored_once(store, lamp):
    for _ in range(2):
        jobs.record(OpenJob(store, lamp, "Ada"), VOLTS, "12.4", entry_id="once")
    assert [entry.entry_id for entry in store.evidence(lamp)].count("once") == 1


@pytest.mark.parametrize("text", ["12,400", "400", "", "nonsense", "NaN", "5 A"])
def test_what_is_in_doubt_is_asked_about_and_nothing_is_stored(store, lamp, text):
    before = store.evidence(lamp)
    with pytest.raises(Doubt):
        jobs.record(OpenJob(store, lamp, "Ada"), VOLTS, text)
    assert store.evidence(lamp) == before


def test_flickers_is_an_event_at_the_place(store, lamp):
    assert jobs.record(OpenJob(store, lamp, "Ada"), VOLTS, "flickers").kind == "event"


def test_a_reading_at_a_point_that_is_renamed_is_set_aside_and_stays(store, lamp):
    jobs.record(OpenJob(store, lamp, "Ada"), VOLTS, "12.4", entry_id="r")
    jobs.save_circuit(OpenJob(store, lamp, "Ada"), LAMP.replace("X1", "X9"))
    line = next(one for one in jobs.bench_view(OpenJob(store, lamp)).evidence if one.entry_id == "r")
    assert "X1.1" in line.aside
    assert line.value == "12.4 V"


def test_a_closed_job_takes_no_more_evidence(store, lamp):
    jobs.close(OpenJob(store, lamp, "Ada"), complaint="dark", cause="X1", correction="renewed")
    with pytest.raises(ConflictError):
        jobs.record(OpenJob(store, lamp, "Ada"), VOLTS, "12.4")


def test_a_strike_out_needs_a_reason(store, lamp):
    entry = jobs.record(OpenJob(store, lamp, "Ada"), VOLTS, "12.4")
    with pytest.raises(InputError):
        jobs.strike(OpenJob(store, lamp, "Ada"), entry.entry_id, reason=" ")


def share_of(store, job_id, part):
    return next(
        one.probability for one in jobs.bench_view(OpenJob(store, job_id)).suspects if one.part == part
    )


def test_earlier_work_at_a_place_raises_it(store):
    shares = []
    for number, touched in enumerate([(), ("X1",)]):
        intake = Intake(earlier_work=(EarlierWork(what="loom moved", touched=touched),))
        jobs.open_job(store, intake, who="Ada", job_id=f"j{number}", circuit=LAMP)
        jobs.complain_all(OpenJob(store, f"j{number}", "Ada"), [("H1", "no", "on")])
        shares.append(share_of(store, f"j{number}", "X1.1"))
    assert shares[1] > 2 * shares[0]


def test_work_at_a_place_that_the_circuit_does_not_know_is_told(store):
    intake = Intake(
        earlier_work=(EarlierWork(what="x", touched=("Z9",)),), settings=JobSettings(instruments=("meter",))
    )
    jobs.open_job(store, intake, who="Ada", job_id="j", circuit=LAMP)
    assert "Z9" in jobs.bench_view(OpenJob(store, "j")).aside[0]
