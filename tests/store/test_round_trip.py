"""What goes in comes out the same, whatever it is: by hypothesis, through the database and through an archive."""

from datetime import UTC, datetime
from decimal import Decimal
from io import BytesIO

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from halfsplit.store import EvidenceEntry, JobStore, export_job, import_job, struck_ids
from halfsplit.store.records import (
    BatteryReading,
    Complaint,
    EarlierWork,
    Intake,
    JobSettings,
    PartUsed,
    Step,
    Vehicle,
)
from tests.store.samples import NOW

words = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=40)
filled = words.filter(lambda text: text.strip())
moments = st.datetimes(datetime(1900, 1, 2), datetime(2999, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001
numbers = st.floats(allow_nan=False, allow_infinity=False)
amounts = st.decimals(-(10**11), 10**11, allow_nan=False, allow_infinity=False, places=4)
json_texts = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | numbers | json_texts,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(json_texts, inner, max_size=4),
    max_leaves=12,
)
entries = st.builds(
    EvidenceEntry,
    entry_id=filled,
    kind=filled.filter(lambda kind: kind != "strike"),
    at=moments,
    who=words,
    payload=st.dictionaries(json_texts, json_values, max_size=5),
    present=st.sampled_from(["yes", "no", "unknown"]),
    instrument=words,
    serial=words,
    reason=words,
)
intakes = st.builds(
    Intake,
    complaint=st.builds(Complaint, text=words, when=words),
    vehicle=st.builds(Vehicle, vin=words, description=words, odometer=st.none() | st.integers(0, 2**31 - 1)),
    battery=st.none()
    | st.builds(BatteryReading, volts=numbers, celsius=st.none() | numbers, rested=st.booleans()),
    earlier_work=st.lists(
        st.builds(
            EarlierWork, what=words, on=st.none() | st.dates(), touched=st.lists(words, max_size=3).map(tuple)
        ),
        max_size=3,
    ).map(tuple),
    settings=st.builds(
        JobSettings,
        instruments=st.lists(words, max_size=3).map(tuple),
        seed=st.integers(-(2**63), 2**63 - 1),
        hourly_rate=st.none() | amounts,
    ),
)
steps = st.builds(
    Step,
    step_id=filled,
    what=words,
    who=words,
    minutes=st.none() | numbers,
    started_at=st.none() | moments,
    withdrawn=st.booleans(),
)
parts = st.builds(PartUsed, part_id=filled, name=words, price=amounts, quantity=amounts)

_repeat = settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def fresh(store):
    """A function: the next new job in the store."""
    opened = []

    def open_job(intake: Intake = Intake()) -> str:  # noqa: B008 frozen
        opened.append(f"job-{len(opened)}")
        store.open_job(opened[-1], intake, who="Ada", at=NOW)
        return opened[-1]

    return open_job


def _without_sequence(record):
    return {name: value for name, value in vars(record).items() if name != "sequence"}


@_repeat
@given(entry=entries)
def test_evidence(store, fresh, entry):
    job_id = fresh()
    stored = store.record(job_id, entry)
    (read,) = store.evidence(job_id)
    assert read == stored == store.record(job_id, entry)
    assert _without_sequence(read) == _without_sequence(entry)
    assert repr(read.payload) == repr(dict(sorted_deep(entry.payload))), "types too: 1, 1.0 and True differ"


def sorted_deep(value):
    if isinstance(value, dict):
        return {key: sorted_deep(value[key]) for key in sorted(value)}
    return [sorted_deep(item) for item in value] if isinstance(value, list) else value


@_repeat
@given(intake=intakes)
def test_intake(store, fresh, intake):
    job_id = fresh(intake)
    assert store.job(job_id).intake == intake
    assert store.whole_job(job_id).intakes[0].intake == intake


@_repeat
@given(step=steps, part=parts)
def test_steps_and_parts(store, fresh, step, part):
    job_id = fresh()
    store.save_line(job_id, step, who="Ada", at=NOW)
    store.save_line(job_id, part, who="Ada", at=NOW)
    assert _without_sequence(store.steps(job_id)[0]) == _without_sequence(step)
    assert _without_sequence(store.parts(job_id)[0]) == _without_sequence(part)
    assert isinstance(store.parts(job_id)[0].price, Decimal)


@settings(_repeat, max_examples=20)
@given(
    intake=intakes, evidence=st.lists(entries, max_size=4, unique_by=lambda entry: entry.entry_id), step=steps
)
def test_archive(sqlite_store, tmp_path, intake, evidence, step):
    number = len(sqlite_store.list_jobs())
    job_id = f"job-{number}"
    sqlite_store.open_job(job_id, intake, who="Ada", at=NOW)
    sqlite_store.record_all(job_id, evidence)
    sqlite_store.save_line(job_id, step, who="Ada", at=NOW)
    target = BytesIO()
    export_job(sqlite_store, job_id, target)
    with JobStore(f"sqlite:///{tmp_path}/other-{number}.db") as other:
        import_job(other, target, who="Bo", at=NOW)
        sent, arrived = sqlite_store.whole_job(job_id), other.whole_job(job_id)
    assert (arrived.intakes, arrived.evidence, arrived.steps) == (sent.intakes, sent.evidence, sent.steps)
    assert arrived.changes[:-1] == sent.changes


@given(strikes=st.lists(st.integers(0, 30), max_size=25))
def test_what_is_struck(strikes):
    """Against the definition: an entry counts unless a strike-out that counts refers to it."""
    made = [EvidenceEntry(entry_id="0", kind="note", at=NOW, who="Ada", sequence=0)]
    for number, target in enumerate(strikes, start=1):
        struck = str(target % number)
        entry = EvidenceEntry(
            entry_id=str(number), kind="strike", strikes=struck, at=NOW, who="Ada", sequence=number
        )
        made.append(entry)

    def counts(entry: EvidenceEntry) -> bool:
        return not any(other.strikes == entry.entry_id and counts(other) for other in made)

    assert struck_ids(made) == {entry.entry_id for entry in made if not counts(entry)}
