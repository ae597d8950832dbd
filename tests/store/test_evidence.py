"""Evidence and its attachments: stored once, in order, never lost; the same on SQLite and PostgreSQL."""

from dataclasses import replace
from io import BytesIO
from threading import Thread

import pytest

from halfsplit.errors import InputError, NotFoundError
from halfsplit.store import (
    Attachment,
    Closing,
    EntryConflictError,
    EvidenceEntry,
    Intake,
    struck_ids,
)
from tests.store.samples import CSV, JPEG, NOW, later, photo, reading


def test_evidence_comes_back_in_order(store, job_id):
    entries = [store.record(job_id, reading(f"entry-{n}", n / 10)) for n in (3, 1, 2)]
    assert store.evidence(job_id) == tuple(entries)
    assert [entry.sequence for entry in entries] == sorted(entry.sequence for entry in entries)
    assert store.evidence(job_id, after=entries[0].sequence) == tuple(entries[1:])


def test_a_repeat_is_stored_once(store, job_id):
    first = store.record(job_id, reading("entry-1"))
    again = store.record(job_id, replace(reading("entry-1"), at=later(30), who="Bo"))
    assert again == first
    assert store.evidence(job_id) == (first,)
    assert store.job(job_id).last_change == first.sequence


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("payload", {"value": 12.3}),
        ("kind", "observation"),
        ("present", "yes"),
        ("instrument", "test lamp"),
        ("serial", "M-18"),
    ],
)
def test_the_same_id_with_different_content_is_an_error(store, job_id, field, value):
    first = store.record(job_id, reading("entry-1"))
    with pytest.raises(EntryConflictError, match=rf"entry-1 is stored already with a different {field}"):
        store.record(job_id, replace(reading("entry-1"), **{field: value}))
    assert store.evidence(job_id) == (first,)


def test_the_same_id_may_be_used_in_two_jobs(store, job_id):
    store.open_job("job-2", Intake(), who="Ada", at=NOW)
    store.record(job_id, reading("entry-1", 1.0))
    store.record("job-2", reading("entry-1", 2.0))
    assert store.evidence("job-2")[0].payload["value"] == 2.0


def test_several_entries_are_stored_all_or_none(store, job_id):
    bad = reading("entry-2", float("nan"))
    with pytest.raises(InputError, match="cannot be kept as JSON"):
        store.record_all(job_id, [reading("entry-1"), bad])
    assert store.evidence(job_id) == ()
    assert store.job(job_id).last_change == 1
    assert len(store.record_all(job_id, [reading("entry-1"), reading("entry-2"), reading("entry-1")])) == 3
    assert [entry.entry_id for entry in store.evidence(job_id)] == ["entry-1", "entry-2"]


def test_strike_out_and_its_undoing(store, job_id):
    store.record(job_id, reading("entry-1"))
    strike = store.strike(
        job_id, "entry-1", entry_id="strike-1", reason="probe slipped", who="Bo", at=later(1)
    )
    assert (
        store.strike(job_id, "entry-1", entry_id="strike-1", reason="probe slipped", who="Bo", at=NOW)
        == strike
    )
    assert struck_ids(store.evidence(job_id)) == {"entry-1"}
    store.strike(job_id, "strike-1", entry_id="strike-2", reason="it was right", who="Ada", at=later(2))
    assert struck_ids(store.evidence(job_id)) == {"strike-1"}
    assert len(store.evidence(job_id)) == 3


def test_a_strike_out_needs_a_reason_and_an_entry(store, job_id):
    store.record(job_id, reading("entry-1"))
    with pytest.raises(InputError, match="without a reason"):
        store.strike(job_id, "entry-1", entry_id="s", reason=" ", who="Bo", at=NOW)
    with pytest.raises(NotFoundError, match="no entry 'entry-9'"):
        store.strike(job_id, "entry-9", entry_id="s", reason="slip", who="Bo", at=NOW)
    with pytest.raises(InputError, match="nothing else, names the entry that it strikes"):
        store.record(job_id, replace(reading("entry-2"), strikes="entry-1", reason="slip"))
    with pytest.raises(InputError, match="names the entry"):
        store.record(job_id, EvidenceEntry(entry_id="s", kind="strike", at=NOW, who="Bo", reason="slip"))
    assert len(store.evidence(job_id)) == 1


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"entry_id": ""}, "entry id: is empty"),
        ({"entry_id": "x" * 101}, "entry id: 101 characters long, at most 100"),
        ({"kind": " "}, "kind: is empty"),
        ({"who": "A\0da"}, "who: holds a character that is no text"),
        ({"instrument": "\ud800"}, "instrument: holds a character"),
        ({"present": "perhaps"}, "present: found 'perhaps', expected one of yes, no, unknown"),
        ({"who": 7}, "who: found 7, expected a text"),
        ({"at": "2026-03-02"}, "at: found '2026-03-02', expected a moment"),
        ({"at": NOW.replace(tzinfo=None)}, "at: .* has no time zone"),
        ({"at": NOW.replace(year=9999)}, "at: .* outside the years 1900 to 3000"),
        ({"payload": {"value": float("inf")}}, "cannot be kept as JSON"),
        ({"payload": {"note": "\udfff"}}, "cannot be kept as JSON"),
        ({"payload": {"note": "x" * 300_000}}, "payload: takes 300,011 characters as JSON, at most 300,000"),
    ],
)
def test_what_cannot_be_kept_is_refused_with_its_field(store, job_id, changed, message):
    with pytest.raises(InputError, match=message):
        store.record(job_id, replace(reading("entry-1"), **changed))
    assert store.evidence(job_id) == ()


def test_too_deep_a_payload_is_refused(store, job_id):
    for depth in (60, 100_000):
        payload: dict = {}
        for _ in range(depth):
            payload = {"in": payload}
        with pytest.raises(InputError):
            store.record(job_id, replace(reading("entry-1"), payload=payload))


def test_a_job_takes_entries_after_it_was_closed(store, job_id):
    """An outbox that was out of reach may still hold a reading: it is not lost."""
    store.close_job(job_id, Closing(complaint="", cause="", correction="", who="Ada", at=NOW))
    assert store.record(job_id, reading("entry-1")).sequence == 3


def test_writers_at_the_same_time_lose_nothing(store, job_id):
    """Six browsers with ten entries each; every entry is sent twice."""

    def enter(browser: int) -> None:
        for n in range(10):
            for _ in range(2):
                store.record(job_id, reading(f"{browser}-{n}", n))

    threads = [Thread(target=enter, args=(browser,)) for browser in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    entries = store.evidence(job_id)
    assert sorted(entry.entry_id for entry in entries) == sorted(
        f"{b}-{n}" for b in range(6) for n in range(10)
    )
    assert [entry.sequence for entry in entries] == list(range(2, 62))


def test_one_job_opened_by_several_at_the_same_time(store):
    numbers = []
    open_job = lambda: numbers.append(store.open_job("job-1", Intake(), who="Bo", at=NOW).number)  # noqa: E731
    threads = [Thread(target=open_job) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert numbers == [1] * 6


def test_numbers_of_jobs_opened_at_the_same_time(store):
    def open_jobs(desk: int) -> None:
        for n in range(5):
            store.open_job(f"{desk}-{n}", Intake(), who="Bo", at=NOW)

    threads = [Thread(target=open_jobs, args=(desk,)) for desk in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(job.number for job in store.list_jobs()) == list(range(1, 21))


# Attachments


def test_attachments_are_kept_by_content(store, job_id):
    stored = store.attach(job_id, photo("photo-1"), BytesIO(JPEG))
    same = store.attach(job_id, photo("photo-2"), BytesIO(JPEG))
    assert (stored.media_type, stored.size, stored.sha256) == ("image/jpeg", len(JPEG), same.sha256)
    assert store.attach(job_id, photo("photo-1"), BytesIO(JPEG)) == stored
    with store.open_attachment(job_id, "photo-1") as file:
        assert file.read() == JPEG
    assert store.attachments(job_id) == (stored, same)
    assert len([path for path in store.files.folder.rglob("*") if path.is_file()]) == 1
    assert store.check() == ()


def test_an_attachment_id_with_other_bytes_is_an_error(store, job_id):
    store.attach(job_id, photo("photo-1"), BytesIO(JPEG))
    with pytest.raises(EntryConflictError, match="photo-1 is stored already with other bytes"):
        store.attach(job_id, photo("photo-1"), BytesIO(JPEG + b"x"))
    with pytest.raises(NotFoundError, match="no attachment 'photo-7'"):
        store.open_attachment(job_id, "photo-7")
    with pytest.raises(NotFoundError, match="no job"):
        store.attach("job-9", photo("photo-1"), BytesIO(JPEG))


def test_entries_show_their_attachments_in_order(store, job_id):
    for name in ("photo-1", "photo-2", "photo-3"):
        store.attach(job_id, photo(name), BytesIO(JPEG))
    entry = store.record(job_id, reading("entry-1", attachments=("photo-2", "photo-1")))
    assert store.evidence(job_id)[0].attachments == ("photo-2", "photo-1")
    store.link_attachments(job_id, "entry-1", ["photo-3", "photo-1"], who="Bo", at=later(1))
    assert store.evidence(job_id)[0].attachments == ("photo-2", "photo-1", "photo-3")
    changes = store.changes_since(job_id, entry.sequence)
    assert [(change.what, change.ref, change.who) for change in changes] == [
        ("attachment link", "entry-1", "Bo")
    ]
    store.link_attachments(job_id, "entry-1", ["photo-3"], who="Bo", at=later(1))
    assert store.job(job_id).last_change == changes[-1].sequence
    assert store.record(job_id, reading("entry-1", attachments=("photo-1",))).sequence == entry.sequence
    with pytest.raises(NotFoundError, match="no attachment 'photo-9'"):
        store.record(job_id, reading("entry-2", attachments=("photo-9",)))
    with pytest.raises(NotFoundError, match="no entry 'entry-9'"):
        store.link_attachments(job_id, "entry-9", ["photo-1"], who="Bo", at=NOW)


def test_a_capture_can_belong_to_several_entries(store, job_id):
    capture = Attachment(attachment_id="c", kind="capture", name="drop.csv", at=NOW, who="Ada")
    store.attach(job_id, capture, BytesIO(CSV))
    store.record_all(job_id, [reading(f"entry-{n}", n, attachments=("c",)) for n in range(3)])
    assert [entry.attachments for entry in store.evidence(job_id)] == [("c",)] * 3
