"""Reading a vehicle from the page: in a thread with progress and stop, on a simulated vehicle in another process.

Each thing that can go wrong has its word on the page, and nothing hangs. All units and codes are invented.
"""

import threading

import pytest

from halfsplit import job as jobs
from halfsplit.job import Intake, live_scans, scans
from halfsplit.job.open_job import OpenJob
from halfsplit.notation.checked import check_text
from halfsplit.scan.channel import Address
from halfsplit.scan.simulated import running
from halfsplit.scan.vehicle import FLOOD, NOISE, STOPS, SimulatedUnit, SimulatedVehicle
from tests.waiting import PATIENCE

from .rear_feed import CIRCUIT

CODES = (("B1044-13", 0x2F), ("B1045-11", 0x28))
BODY = SimulatedUnit("Body", Address(0x740, 0x748), CODES, {0xF197: "Body"}, stays=("B1044-13",))
STOPPING = SimulatedUnit("Stops", Address(0x750, 0x758), CODES, {0xF197: "Stops"}, fault=STOPS, after=4)


@pytest.fixture
def van(store):
    jobs.open_job(store, Intake(), who="Ada", job_id="van")
    yield "van"
    finished()
    live_scans.stop_simulated(store)


@pytest.fixture
def noisy():
    """A bus with garbage on it, one sound unit and one that stops answering in the middle, which happens once."""
    with running(SimulatedVehicle((BODY, STOPPING), fault=NOISE)) as channel:
        yield f"{channel.interface}:{channel.name}"


def finished():
    """Wait for the thread of a live scan; it must end by itself."""
    for thread in threading.enumerate():
        if thread.name == "scan van":
            thread.join(PATIENCE)
            assert not thread.is_alive()


def start(client, **form):
    answer = client.post("/jobs/van/scan/live", data={"bit_rate": "500000", "moment": "arrival"} | form)
    assert answer.status_code == 303, answer.text


def read(client, **form):
    start(client, **form)
    finished()
    return client.get("/jobs/van/scan/live/run").text


def test_a_unit_that_stops_and_garbage_are_told_and_the_rest_is_kept(client, store, van, noisy):
    page = read(client, channel=noisy)
    assert "stopped answering while it was read" in page
    assert "delivers garbage" in page
    assert "hx-trigger" not in page  # nothing is asked for any more
    kept = scans.kept_reports(OpenJob(store, van))[0]
    assert (kept.source, kept.moment) == ("live", "arrival")
    assert [code.name for code in kept.report.unit("Body").codes] == ["B1044-13", "B1045-11"]
    assert any("stopped answering" in one for one in kept.problems)
    assert set(live_scans.known_addresses(OpenJob(store, van))) == {unit.name for unit in kept.report.units}
    assert "delivers garbage" in client.get("/jobs/van/scan").text


def test_a_wrong_bit_rate_and_an_adapter_that_is_not_there_are_told(client, store, van, noisy):
    assert "wrong bit rate" in read(client, channel=noisy, bit_rate="250000")
    assert "cannot be opened" in read(client, channel="slcan:/dev/no-such-adapter")
    assert scans.kept_reports(OpenJob(store, van)) == ()


@pytest.mark.parametrize("channel", ["", "nonsense", "slcan:spy:///dev/null?file=x", "serial:loop://"])
def test_a_channel_that_cannot_be_is_refused(client, van, channel):
    answer = client.post("/jobs/van/scan/live", data={"channel": channel, "bit_rate": "500000"})
    assert answer.status_code == 422
    assert live_scans.run_of(OpenJob(client.app.app.state.store, van)) is None


def test_a_flood_is_named_and_a_run_can_be_stopped(client, store, van, monkeypatch):
    # A second: what a crowded machine still gets through.
    monkeypatch.setattr("halfsplit.scan.live.FLOOD", 30)
    with running(SimulatedVehicle((BODY,), bit_rate=125_000, fault=FLOOD)) as channel:
        words = f"{channel.interface}:{channel.name}"
        form = {"channel": words, "bit_rate": "125000"}
        with monkeypatch.context() as held:
            held.setattr("halfsplit.scan.live.LISTEN", PATIENCE)  # it cannot have ended before it is stopped
            start(client, **form)
            assert client.post("/jobs/van/scan/live", data=form).status_code == 422
            client.post("/jobs/van/scan/live/stop")
            finished()
        assert "Stopped, nothing was stored" in client.get("/jobs/van/scan/live").text
        assert scans.kept_reports(OpenJob(store, van)) == ()
        assert "identifier 001 alone comes" in read(client, **form)


def test_codes_are_cleared_only_as_shown_saved_and_confirmed_and_it_is_logged(client, store, van, noisy):
    read(client, channel=noisy)
    scan_id = scans.kept_reports(OpenJob(store, van))[0].scan_id
    form = {"scan_id": scan_id, "unit": "Body"}
    page = client.post("/jobs/van/scan/live/clear/look", data=form).text
    assert "What is lost" in page
    assert "snapshots and counters" in page
    form["listed"] = "B1044-13 B1045-11"
    assert f'value="{form["listed"]}"' in page
    for wrong in ({}, {"sure": "1", "listed": "B1044-13"}):
        answer = client.post("/jobs/van/scan/live/clear", data=form | wrong)
        assert answer.status_code == 409
        assert "Nothing was cleared" in answer.text
    assert not [entry for entry in store.evidence(van) if entry.kind == "scan clear"]
    answer = client.post("/jobs/van/scan/live/clear", data=form | {"sure": "1"})
    assert "B1044-13 came back at once" in answer.text
    logged = [entry for entry in store.evidence(van) if entry.kind == "scan clear"]
    assert len(logged) == 1
    assert "clear B1044-13, B1045-11, confirmed by bench" in logged[0].payload["text"]
    # what is no longer as shown is not cleared again
    assert client.post("/jobs/van/scan/live/clear", data=form | {"sure": "1"}).status_code == 409


def test_the_simulated_vehicle_of_a_job_is_fed_as_its_circuit_says(client, store, van):
    """The circuit engine says which units are fed; the bus says which answer."""
    jobs.save_circuit(OpenJob(store, van, "Ada"), CIRCUIT)
    assert "no such" in read(client, vehicle="simulated", fault="no such").replace("&#39;", "'")
    read(client, vehicle="simulated", fault="F30 open")
    kept = scans.kept_reports(OpenJob(store, van))[0]
    assert {name.split()[0] for name in kept.silent} == {"A11", "A12", "A13", "A14"}
    assert [code.code.failure_type for code in kept.report.units[0].codes] == [0x87] * 4
    assert (
        live_scans.known_addresses(OpenJob(store, van)) == {}
    )  # none of these is a unit of the real vehicle


def test_a_simulated_vehicle_without_a_fault_has_no_codes_and_no_silent_unit():
    vehicle = live_scans.vehicle_of(check_text(CIRCUIT).circuit)
    assert vehicle.unfed == frozenset()
    assert all(unit.codes == () for unit in vehicle.units)
