"""Fault codes and the drain in the workshop's report, from the records of a job. All data is invented."""

import shutil
import subprocess

import pytest

from halfsplit import job as jobs
from halfsplit.job import Intake, drain_branches, drains, scan_evidence, scans, signal_reports
from halfsplit.job.open_job import OpenJob
from halfsplit.job.reporting import job_view

from .rear_feed import AFTER, ARRIVAL, CIRCUIT, COMPLAINTS

LOG = "seconds,amps\n" + "\n".join(f"{s},{2.0 if s < 900 else 0.08:.3f}" for s in range(4000))


@pytest.fixture
def told(store) -> str:
    """A job with an arrival report, one after the repair, a log and a fuse."""
    jobs.open_job(store, Intake(), who="Ada", job_id="van", circuit=CIRCUIT)
    for text, moment in ((ARRIVAL, "arrival"), (AFTER, "after repair")):
        scans.keep_report(
            OpenJob(store, "van", "Ada"), text.encode(), name=f"{moment}.txt", moment=moment, source="pasted"
        )
    drains.keep_log(OpenJob(store, "van", "Ada"), LOG.encode(), name="night.csv", how={"instrument": "meter"})
    drains.save_battery(OpenJob(store, "van", "Ada"), {"capacity": 70.0, "charge": 80.0})
    drain_branches.save_fuse(OpenJob(store, "van", "Ada"), "F1", 10.0, 0.45)
    return "van"


def test_codes_on_arrival_before_and_after_are_in_the_report(store, told):
    view = signal_reports.codes_view(OpenJob(store, told))
    assert [scan.title.split(",")[0] for scan in view.scans] == ["As it came in", "After the repair"]
    assert view.scans[0].silent == ("Tailgate unit", "Trailer unit", "Camera unit", "Level unit")
    assert [(one.verdict, one.code) for one in view.changes] == [("new", "C1A20-16"), ("gone", "U0230-87")]
    assert set(view.answers_now) == set(view.scans[0].silent)
    assert view.scans[0].remarks == ("Not understood: line 11.",)
    arrival = signal_reports.arrival_codes(OpenJob(store, told))
    assert arrival[0].startswith("Engine control unit: U0230-87, no communication")
    assert arrival[-1] == "Level unit does not answer"


def test_the_drain_is_in_the_report(store, told):
    view = signal_reports.drain_report(OpenJob(store, told))
    assert view.verdict.startswith("80 mA asleep")
    assert view.branches[0].current.startswith("58.4 mA")
    assert view.forecast.startswith("About")
    assert "<style>" in view.plot  # for paper it brings its own colours
    assert view.cautions


def test_a_job_with_neither_says_nothing_of_them(store):
    jobs.open_job(store, Intake(), who="Ada", job_id="plain")
    view = job_view(OpenJob(store, "plain"))
    assert view.codes.scans == ()
    assert view.drain.verdict == ""
    assert view.arrival_codes == ()


@pytest.mark.requires("pdftotext")
def test_page_and_pdf_of_the_workshop_tell_both(client, store, told, tmp_path):
    jobs.complain_all(OpenJob(store, told, "Ada"), COMPLAINTS)
    scan_evidence.tell(OpenJob(store, told, "Ada"), scans.kept_reports(OpenJob(store, told))[0].scan_id)
    page = client.get("/jobs/van/report?for=workshop").text
    data = client.get("/jobs/van/report.pdf?for=workshop").content
    (tmp_path / "van.pdf").write_bytes(data)
    program = shutil.which("pdftotext")
    assert program is not None
    text = subprocess.run(
        [program, "-layout", tmp_path / "van.pdf", "-"], check=True, capture_output=True, text=True
    ).stdout
    for words in ("U0230-87", "C1A20-16", "80 mA asleep", "Before and after", "58.4 mA"):
        assert words in page
        assert words in text
    customer = client.get("/jobs/van/report").text
    assert "Parasitic draw" not in customer
    assert "Fault codes on arrival" in customer
