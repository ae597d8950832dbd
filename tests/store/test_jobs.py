"""The contract of the job store, the same on SQLite and PostgreSQL."""

from dataclasses import replace
from decimal import Decimal

import pytest

from halfsplit.errors import InputError, NotFoundError
from halfsplit.store import (
    Authorisation,
    Closing,
    Customer,
    EditConflictError,
    EntryConflictError,
    Intake,
    JobStore,
    PartUsed,
    ShownResult,
    Step,
    UnreachableError,
    Vehicle,
    Workshop,
    default_url,
)
from tests.store.conftest import BACKENDS
from tests.store.samples import NOW, fill, intake, later, reading

# Jobs


def test_a_job_comes_back_as_it_was_taken_in(store):
    customer = Customer(name="Ünal", phone="555 0101")
    opened = store.open_job("job-1", intake(), who="Ada", at=NOW, customer=customer)
    assert (opened.intake, opened.customer, opened.state) == (intake(), customer, "open")
    assert (opened.opened_at, opened.opened_by, opened.number) == (NOW, "Ada", 1)
    assert opened == store.job("job-1") == store.job_by_number(1)


def test_what_was_skipped_at_the_counter_stays_empty(store):
    job = store.open_job("job-1", Intake(), who="Ada", at=NOW)
    assert (job.intake, job.customer, job.closing) == (Intake(), None, None)


def test_opening_twice_opens_once(store, job_id):
    again = store.open_job(job_id, intake(), who="Ada", at=later(3))
    assert (again.number, again.opened_at, len(store.list_jobs())) == (1, NOW, 1)
    with pytest.raises(EntryConflictError, match="different intake"):
        store.open_job(job_id, intake("something else"), who="Ada", at=NOW)


def test_an_unknown_job_is_not_found(store):
    for ask in (store.job, store.evidence, store.circuit, store.steps, store.whole_job):
        with pytest.raises(NotFoundError, match="no job 'job-9'"):
            ask("job-9")
    with pytest.raises(NotFoundError, match="no job 'job-9'"):
        store.record("job-9", reading("entry-1"))
    with pytest.raises(NotFoundError, match="no job '77'"):
        store.job_by_number(77)


def test_intake_keeps_every_version(store, job_id):
    saved = store.save_intake(job_id, intake("it hums too"), based_on=1, who="Bo", at=later(1))
    assert (saved.intake_version, saved.intake.complaint.text) == (2, "it hums too")
    assert [(v.version, v.who, v.intake.complaint.text) for v in store.whole_job(job_id).intakes] == [
        (1, "Ada", "The rear wiper stops half-way"),
        (2, "Bo", "it hums too"),
    ]


def test_two_edits_of_one_version_do_not_overwrite_each_other(store, job_id):
    store.save_intake(job_id, intake("from the desk"), based_on=1, who="Bo", at=NOW)
    with pytest.raises(EditConflictError, match="at version 2, this edit is based on 1"):
        store.save_intake(job_id, intake("from the bay"), based_on=1, who="Ada", at=NOW)
    assert store.job(job_id).intake.complaint.text == "from the desk"
    again = store.save_intake(job_id, intake("from the desk"), based_on=1, who="Bo", at=NOW)
    assert again.intake_version == 2, "the same edit sent twice is one edit"


def test_customer_can_be_erased_from_the_search_too(store, job_id):
    store.set_customer(job_id, Customer(name="Ünal"), who="Bo", at=NOW)
    assert len(store.list_jobs("ÜNAL")) == 1
    assert store.set_customer(job_id, None, who="Bo", at=NOW).customer is None
    assert store.list_jobs("ünal") == ()


def test_a_new_intake_does_not_drop_the_customer_from_the_search(store, job_id):
    store.set_customer(job_id, Customer(name="Ünal"), who="Bo", at=NOW)
    store.save_intake(job_id, intake("it hums"), based_on=1, who="Bo", at=NOW)
    assert len(store.list_jobs("ünal hums")) == 1


def test_closing_and_opening_again_keeps_both_closings(store, job_id):
    first = Closing(complaint="stops", cause="X31.4 spread", correction="terminal", who="Ada", at=later(9))
    closed = store.close_job(job_id, first)
    assert (closed.state, closed.closing.cause) == ("closed", "X31.4 spread")
    store.close_job(job_id, first)
    assert store.set_state(job_id, "open", who="Ada", at=later(10)).state == "open"
    second = store.close_job(job_id, replace(first, cause="hinge wire broken"))
    assert second.closing.cause == "hinge wire broken"
    assert [closing.cause for closing in store.whole_job(job_id).closings] == [
        "X31.4 spread",
        "hinge wire broken",
    ]
    with pytest.raises(InputError, match="complaint, cause and correction"):
        store.set_state(job_id, "closed", who="Ada", at=NOW)


def test_list_of_jobs_searches_and_sums(store):
    store.open_job("a", intake("no horn"), who="Ada", at=NOW)
    store.open_job("b", Intake(vehicle=Vehicle(description="100% electric_van")), who="Ada", at=later(1))
    for step_id, minutes, withdrawn in (("s1", 7.5, False), ("s2", None, False), ("s3", 40.0, True)):
        step = Step(step_id=step_id, what="look", who="Ada", minutes=minutes, withdrawn=withdrawn)
        store.save_line("a", step, who="Ada", at=later(5))
    listed = store.list_jobs()
    assert [(job.job_id, job.minutes) for job in listed] == [("a", 7.5), ("b", 0.0)]
    assert (listed[0].complaint, listed[0].registration) == ("no horn", "ÖX 12")
    assert [job.job_id for job in store.list_jobs("öx HORN")] == ["a"]
    assert [job.job_id for job in store.list_jobs("0% c_v")] == ["b"]
    assert store.list_jobs("electric%van") == (), "a per cent sign is not a wild card"
    assert [job.job_id for job in store.list_jobs(limit=1, offset=1)] == ["b"]
    store.set_state("b", "found", who="Ada", at=NOW)
    assert [job.job_id for job in store.list_jobs(states=("found", "proven"))] == ["b"]


def test_numbers_that_are_texts_are_refused(store):
    """SQLite would keep them as they are, PostgreSQL would not."""
    wrong = Intake(vehicle=Vehicle(odometer="142300"))
    with pytest.raises(InputError, match="vehicle odometer: found '142300', expected a whole number"):
        store.open_job("job-1", wrong, who="Ada", at=NOW)
    with pytest.raises(InputError, match="vehicle odometer: 3000000000 is too large"):
        store.open_job("job-1", Intake(vehicle=Vehicle(odometer=3_000_000_000)), who="Ada", at=NOW)
    assert store.list_jobs() == ()


# Circuit


def test_circuit_versions(store, job_id):
    assert store.circuit(job_id) is None
    first = store.save_circuit(job_id, "battery G1", based_on=0, who="Ada", at=NOW)
    second = store.save_circuit(job_id, "battery G1\nload M9", based_on=1, who="Ada", at=later(1))
    assert store.save_circuit(job_id, second.text, based_on=1, who="Ada", at=later(2)) == second
    assert (store.circuit(job_id), store.circuit(job_id, 1)) == (second, first)
    assert store.whole_job(job_id).circuits == (first, second)
    assert store.job(job_id).circuit_version == 2
    with pytest.raises(EditConflictError):
        store.save_circuit(job_id, "battery G2", based_on=1, who="Bo", at=NOW)
    with pytest.raises(NotFoundError, match="no version 9"):
        store.circuit(job_id, 9)


# Time and money


def test_a_step_is_started_stopped_and_withdrawn(store, job_id):
    step = Step(step_id="step-1", what="halve the feed", who="Ada", started_at=NOW)
    started = store.save_line(job_id, step, who="Ada", at=NOW)
    store.save_line(job_id, Step(step_id="step-2", what="look", who="Bo", minutes=3), who="Bo", at=NOW)
    stopped = replace(started, stopped_at=later(6.5), minutes=6.5)
    assert store.save_line(job_id, stopped, who="Ada", at=later(6.5)) == stopped
    change = store.job(job_id).last_change
    store.save_line(job_id, stopped, who="Ada", at=later(8))
    assert store.job(job_id).last_change == change, "the same again is no change"
    store.save_line(job_id, replace(stopped, withdrawn=True), who="Ada", at=later(9))
    assert [(s.step_id, s.minutes, s.withdrawn) for s in store.steps(job_id)] == [
        ("step-1", 6.5, True),
        ("step-2", 3.0, False),
    ]


def test_parts_and_amounts_are_exact(store, job_id):
    part = PartUsed(part_id="p", name="wire", price=Decimal("0.10"), quantity=Decimal("2.5"), use="estimate")
    store.save_line(job_id, part, who="Ada", at=NOW)
    stored = store.parts(job_id)[0]
    assert stored.price * 3 == Decimal("0.30")
    assert replace(stored, sequence=0) == part
    for price in (Decimal("NaN"), Decimal("Infinity"), Decimal("1e12"), Decimal("1e-10")):
        with pytest.raises(InputError, match=r"price: .* is no amount"):
            store.save_line(job_id, replace(part, price=price), who="Ada", at=NOW)


def test_authorised_limits(store, job_id):
    limit = Authorisation(authorisation_id="a", amount=Decimal(180), by_whom="Ünal", at=NOW, who="Bo")
    first = store.authorise(job_id, limit)
    assert store.authorise(job_id, replace(limit, at=later(1))) == first
    with pytest.raises(EntryConflictError, match="authorisation a is stored already"):
        store.authorise(job_id, replace(limit, amount=Decimal(900)))
    assert store.authorisations(job_id) == (first,)


# Shown results, changes, settings


def test_shown_results_keep_the_engine_version(store, job_id):
    shown = ShownResult(
        what="suspects", document={"M9": 0.4}, engine_version="0.1.0", after=1, who="Ada", at=NOW
    )
    first = store.keep_shown(job_id, shown)
    second = store.keep_shown(job_id, replace(shown, what="finding", engine_version="0.2.0"))
    assert store.shown(job_id) == (first, second)
    assert store.shown(job_id, "finding") == (second,)


def test_latest_shown_of_several_jobs(store):
    shown = ShownResult(what="suspects", document={}, engine_version="0.1.0", after=1, who="Ada", at=NOW)
    for job_id in ("a", "b", "c"):
        store.open_job(job_id, Intake(), who="Ada", at=NOW)
    for job_id, number in (("a", 9), ("b", 4), ("a", 2)):
        store.keep_shown(job_id, replace(shown, document={"left": number}))
    store.keep_shown("a", replace(shown, what="finding"))
    latest = store.latest_shown(["a", "b", "c"], "suspects")
    assert {job_id: result.document["left"] for job_id, result in latest.items()} == {"a": 2, "b": 4}
    assert store.latest_shown([], "suspects") == {}


def test_changes_tell_what_happened_and_in_which_order(store):
    fill(store)
    changes = store.changes_since("job-1", 0)
    assert [change.sequence for change in changes] == list(range(1, store.job("job-1").last_change + 1))
    assert [(change.what, change.ref) for change in changes[:4]] == [
        ("job", "job-1"),
        ("intake", "2"),
        ("circuit", "1"),
        ("circuit", "2"),
    ]
    assert store.changes_since("job-1", changes[-2].sequence) == changes[-1:]
    assert store.changes_since("job-1", 3, limit=2) == changes[3:5]
    assert store.changes_since("job-1", changes[-1].sequence) == ()


def test_an_old_reading_from_an_outbox_does_not_turn_the_clock_back(store, job_id):
    store.record(job_id, reading("entry-1"))
    store.record(job_id, replace(reading("entry-2"), at=later(-60)))
    assert store.job(job_id).changed_at == NOW


def test_workshop_settings(store):
    assert store.workshop() == Workshop()
    workshop = Workshop(name="Hinterhof", address="Mill Lane 3", currency="EUR", hourly_rate=Decimal("96.50"))
    store.save_workshop(workshop, who="Bo", at=NOW)
    assert store.workshop() == workshop
    store.open_job("job-1", Intake(), who="Bo", at=NOW)
    store.save_workshop(replace(workshop, currency="CHF"), who="Bo", at=NOW)
    assert store.open_job("job-2", Intake(), who="Bo", at=NOW).number == 2, (
        "the settings do not reset the count"
    )
    with pytest.raises(InputError, match="currency: 5 characters long, at most 3"):
        store.save_workshop(replace(workshop, currency="euros"), who="Bo", at=NOW)


def test_a_whole_job_holds_everything(store):
    fill(store)
    whole = store.whole_job("job-1")
    lists = (
        "intakes",
        "circuits",
        "evidence",
        "attachments",
        "steps",
        "parts",
        "authorisations",
        "shown",
        "closings",
    )
    assert [len(getattr(whole, name)) for name in lists] == [2, 2, 3, 3, 1, 1, 1, 1, 1]
    assert whole.customer.name == "Ünal"


# Opening


@pytest.mark.parametrize("backend", BACKENDS)
def test_opening_again_finds_everything(new_url, tmp_path, backend):
    url = new_url(backend)
    with JobStore(url, files=tmp_path / "files") as store:
        fill(store)
        before = store.whole_job("job-1")
    with JobStore(url, files=tmp_path / "files") as store:
        assert store.whole_job("job-1") == before
        assert store.check() == ()


@pytest.mark.parametrize(
    ("url", "message"),
    [
        ("no address", "'no address' is no address of a database: write sqlite:///FILE or postgresql://"),
        ("mysql://here/jobs", "'mysql' is no database that Halfsplit can use: write sqlite:///FILE"),
        ("sqlite://", "in memory loses everything"),
        ("sqlite:///:memory:", "in memory loses everything"),
    ],
)
def test_an_address_of_no_use(url, message):
    with pytest.raises(InputError, match=message):
        JobStore(url)


def test_a_server_that_does_not_answer(tmp_path):
    with pytest.raises(
        UnreachableError, match="that the server runs and that address, user and password are right"
    ):
        JobStore("postgresql://ada@/jobs?host=/nonexistent", files=tmp_path)


def test_default_url_is_in_the_users_own_folder():
    assert default_url().startswith("sqlite:///")
    assert default_url().endswith("halfsplit.db")
