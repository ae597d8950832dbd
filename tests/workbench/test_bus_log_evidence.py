"""A bus log on the page of captures: told, and a sender that falls silent made evidence of its unit."""

import io

import can
import pytest

from halfsplit import job as jobs
from halfsplit.job import captures
from halfsplit.job.open_job import OpenJob
from halfsplit.store import Intake
from tests.workbench.rear_feed import CIRCUIT


def log_of_a_night(path) -> bytes:
    """Two identifiers every 20 ms; 1F1 stops after 4 of 10 seconds."""
    with can.BLFWriter(path) as log:
        for number in range(500):
            for identifier in (0x0C9, 0x1F1)[: 2 if number < 200 else 1]:
                frame = can.Message(
                    timestamp=1000 + 0.02 * number,
                    arbitration_id=identifier,
                    data=bytes(8),
                    is_extended_id=False,
                )
                log(frame)
    return path.read_bytes()


@pytest.fixture
def night(store, tmp_path) -> str:
    jobs.open_job(store, Intake(), who="Ada", job_id="van", circuit=CIRCUIT)
    data = io.BytesIO(log_of_a_night(tmp_path / "night.blf"))
    return captures.add_capture(OpenJob(store, "van", "Ada"), data, name="night.blf").attachment_id


def test_a_sender_that_falls_silent_becomes_evidence(client, store, night):
    here = f"/jobs/van/captures/{night}"
    client.post(
        f"{here}/analysis", data={"role-0": "bus frames", "role-1": "bus frame bytes", "path": "feed"}
    )
    view = captures.capture_view(OpenJob(store, "van", "Ada"), night)
    (result,) = view.results
    assert "1F1 at 3.980 s" in result["reason"]
    place = [one["name"] for one in result["quantities"]].index("1F1 fell silent")
    assert "sender of 1F1" in client.get(here).text
    form = {"key": f"silent 0 {place}", "shown": view.shown, "at": "A12", "to": "", "state": "all on"}
    assert client.post(f"{here}/evidence", data=form).status_code == 303
    reading = next(entry for entry in store.evidence("van") if entry.kind == "reading")
    said = reading.payload
    assert (said["quantity"], said["at"], said["value"]) == ("answers", "A12", "no")
    assert night in reading.attachments


def test_the_load_of_a_bus_log_follows_from_the_bit_rate_that_is_entered(client, store, night):
    """700 frames of 8 bytes in 10 s: 111 bits each and up to 24 stuffed ones (ISO 11898-1) are 6.2 to 7.6 %."""
    here = f"/jobs/van/captures/{night}"
    form = {"role-0": "bus frames", "role-1": "bus frame bytes", "path": "feed", "kbit": "125"}
    assert client.post(f"{here}/analysis", data=form).status_code == 303
    (result,) = captures.capture_view(OpenJob(store, "van", "Ada"), night).results
    load = next(one for one in result["quantities"] if "load" in one["name"])
    assert 6.2 < load["value"] < 7.6
    assert 'name="kbit" inputmode="decimal" size="5" value="125"' in client.get(here).text
    wrong = client.post(f"{here}/analysis", data=form | {"kbit": "0.1"})
    assert "is no bit rate of a bus" in wrong.text
