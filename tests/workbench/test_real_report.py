"""The report of a real job: everything that is disputed is answered from what was entered."""

import re
from io import BytesIO

import pytest
from pypdf import PdfReader

from halfsplit import job as jobs
from halfsplit.job import JobStore
from halfsplit.job import plain as job_plain
from halfsplit.job.open_job import OpenJob
from tests.browser.finished import finish, shop


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    with JobStore(f"sqlite:///{tmp_path_factory.mktemp('done')}/jobs.db") as store:
        shop(store)
        finish(store)
        yield store


@pytest.fixture(scope="module")
def told(finished):
    return jobs.job_view(OpenJob(finished, "done"))


def text_of(pdf):
    return " ".join(" ".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages).split())


def test_the_record_tells_what_is_disputed(told):
    measured = [step for step in told.steps if step.instrument == "meter"]
    assert measured
    assert all(step.red and step.black for step in measured)
    assert {step.serial for step in measured} == {"20417"}
    assert all(step.allowed and step.allowed_source for step in measured)
    assert all(step.photos for step in measured if step.decisive and step.phase == "search")
    assert all(step.minutes for step in told.steps if step.phase == "search" and step.instrument)
    assert told.complaint.text.startswith("Since the body shop had it")
    assert told.vehicle.driven == "148,200 km"
    assert [(limit.amount, limit.by_whom, limit.how) for limit in told.limits] == [
        (200, "R. Ostermann", "telephone")
    ]
    assert told.unplugged == told.refitted == ("side lamp, right (H1)",)
    assert told.finding.declined
    assert [(part.name, part.old_part_kept) for part in told.parts] == [("Ground bolt with nut", True)]
    assert told.money.on_suspicion == 212


def test_the_cause_stands_apart_from_its_consequence_in_plain_words(told):
    assert told.finding.cause == "Ground point behind the right rear lamp (E5): poor connection"
    assert "Brake lamp, right (H2), in state “brake”: weak" in told.finding.consequence
    assert told.correction == "Cleaned and tightened the ground point behind the right rear lamp (E5)"


def test_before_is_as_the_vehicle_came_not_as_it_was_with_a_bridge(told):
    lamp = next(check for check in told.checks if check.plain.startswith("Brake lamp"))
    assert (lamp.plain_before, lamp.plain_after, lamp.result) == ("weak", "works", "good")


def test_what_must_stay_off_is_told_so_and_no_millivolts(told):
    off = next(check for check in told.checks if check.plain.startswith("Side lamp"))
    assert (off.plain_after, off.plain_allowed) == ("stays off, as it should", "stays off")
    customer = [
        word for check in told.checks for word in (check.plain_before, check.plain_after, check.plain_allowed)
    ]
    assert not [word for word in customer if "mV" in word or "does not work" in word]


def test_the_customers_sheet_has_no_percentage_and_is_one_page(finished):
    pdf = jobs.report_pdf(OpenJob(finished, "done"), "customer")
    assert len(PdfReader(BytesIO(pdf)).pages) == 1
    assert "%" not in text_of(pdf)
    assert "✓ Proven by measurement" in text_of(pdf)


def test_the_same_job_gives_the_same_bytes(finished):
    for audience in ("customer", "workshop"):
        assert jobs.report_pdf(OpenJob(finished, "done"), audience) == jobs.report_pdf(
            OpenJob(finished, "done"), audience
        )


def total_of(told):
    """Every minute of the record at 96 EUR an hour, and the nut; the part changed on suspicion is not billed."""
    return f"{sum(one.minutes for one in told.work) * 96 / 60 + 3.40:.2f} EUR"


def test_the_page_shows_what_the_sheet_shows(finished, told, client_of):
    for audience, words in (
        (
            "customer",
            (
                "Ground point behind the right rear lamp (E5): poor connection",
                "stays off, as it should",
                f"<b>{total_of(told)}</b>",
            ),
        ),
        (
            "workshop",
            (
                "serial 20417",
                "black lead: bare metal of the body",
                "old part kept",
                "calculated for the healthy",
            ),
        ),
    ):
        shown = client_of(finished).get(f"/jobs/done/report?for={audience}").text
        assert not [word for word in words if word not in shown]
        assert audience == "workshop" or not re.search(r"\d\s*%", shown)


@pytest.mark.parametrize("name", [one.name for kind in ("pattern", "demo") for one in jobs.samples(kind)])
def test_every_cause_and_repair_can_be_told_without_a_code_alone(name):
    """No customer reads 'A1.12 never on'; whatever is named is named by what it is."""
    kind = "demo" if name in {one.name for one in jobs.samples("demo")} else "pattern"
    circuit = jobs.check_text(jobs.sample(name, kind).text).circuit
    for fault in circuit.faults:
        words = job_plain.cause_words(fault, circuit)
        plain = circuit.fault(fault)
        if plain.failure or plain.kind.startswith("bus") or plain.kind in ("unknown", "nothing"):
            continue
        assert words[0].isupper()
        assert ": " in words
        assert not words.startswith(plain.part)
        assert job_plain.repair_words(fault, circuit)[0].isupper()
