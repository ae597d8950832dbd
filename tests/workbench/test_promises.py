"""What the bench promises: it never asks twice, both leads are always told, one odd
reading is asked about before it is believed. The vehicle is simulated; the demos are invented.
"""

import numpy as np
import pytest

from halfsplit import job as jobs
from halfsplit.job.demo import demo_job
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import from_json, key_of
from halfsplit.notation.demos import demo
from halfsplit.practice.vehicle import Vehicle

LEADS = ("volts", "ohms", "lamp")
MOST = 25


def vehicle_of(name):
    circuit = jobs.check_text(demo(name).text).circuit
    return Vehicle(circuit, circuit.fault(demo(name).hidden), np.random.default_rng(3), noise=False)


def measure(store, vehicle, place, value=None):
    value = vehicle.answer(from_json(place)) if value is None else value
    typed = value if isinstance(value, str) else "OL" if value == float("inf") else f"{value:.3f}"
    return jobs.record(OpenJob(store, "demo", "Ada"), place, typed, confirmed=True, present="yes")


@pytest.mark.parametrize("name", ["rear-lamps", "heated-screen"])
def test_it_never_asks_twice_and_always_tells_both_leads(client, store, name):
    demo_job(store, name)
    vehicle, asked = vehicle_of(name), []
    asked += [
        key_of(from_json({"quantity": "works", "at": one.part, "state": one.state}))
        for one in demo(name).complaints
    ]
    for _ in range(MOST):
        job = OpenJob(store, "demo")
        view = jobs.bench_view(job)
        if view.finding and view.finding.proven:
            break
        for test in (*view.tests, *jobs.free_looks(job)):
            assert test.purpose in ("repeat", "prove") or test.key not in asked, test.sentence
            assert test.quantity not in LEADS or (test.red and test.black), test.sentence
        first = view.tests[0]
        shown = client.get("/jobs/demo").text
        assert first.quantity not in LEADS or (first.red in shown and first.black in shown)
        asked.append(first.key)
        measure(store, vehicle, first.place)
    assert jobs.bench_view(OpenJob(store, "demo")).finding.proven


def test_one_odd_reading_is_asked_about_before_it_is_believed(client, store):
    demo_job(store, "rear-lamps")
    vehicle = vehicle_of("rear-lamps")
    brake = {"quantity": "volts", "to": None, "state": "brake", "instrument": "meter"}
    for point in ("E5", "X40.2:out"):
        measure(store, vehicle, brake | {"at": point})
    before = jobs.bench_view(OpenJob(store, "demo"))
    assert before.finding
    slipped = brake | {"at": "X40.5:out"}
    right = float(vehicle.answer(from_json(slipped)))
    assert right > 1
    measure(store, vehicle, slipped, 0.0)
    after = jobs.bench_view(OpenJob(store, "demo"))
    assert after.suspects[0].part == before.suspects[0].part == "E5"
    assert after.tests[0].purpose == "repeat"
    assert after.tests[0].at == "X40.5:out"
    assert "Does not fit any suspect" in client.get("/jobs/demo").text
    measure(store, vehicle, after.tests[0].place)
    assert jobs.bench_view(OpenJob(store, "demo")).suspects[0].part == "E5"
