"""What closed jobs teach, beside Beta and Dirichlet by hand.

Conjugacy: Gelman et al., Bayesian Data Analysis, 3rd edition, sections 2.4 and 3.4.
"""

from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

import halfsplit
from bench import learn as bench
from halfsplit import job as jobs
from halfsplit.diagnosis import learned
from halfsplit.diagnosis.learned import Cause, CircuitTally, Tally, chances, taught
from halfsplit.diagnosis.priors import default_priors
from halfsplit.errors import InputError
from halfsplit.job import Intake, JobStore, OpenJob
from halfsplit.job.learned_file import Learned, added, priors_for, read_learned, switched, write_learned
from halfsplit.job.learning import learn
from halfsplit.job.verbs import record_value
from halfsplit.notation.checked import check_text
from tests.circuits import ONE_LAMP

LAMP = ONE_LAMP.replace("One lamp", "Lamp of Mrs Secret")


@pytest.fixture(scope="module")
def circuit():
    return check_text(LAMP).circuit


@pytest.fixture(scope="module")
def shipped(circuit):
    return chances(circuit, default_priors())


def tally_of(circuit, causes, times=1):
    shares = learned.shipped_shares(circuit)
    name = learned.digest(circuit.model)
    return Tally({name: CircuitTally(shares, dict.fromkeys(causes, times))})


def part_chance(found, part):
    return sum(chance for cause, chance in found.items() if cause.part == part)


def test_in_its_own_circuit_a_part_is_believed_as_dirichlet_has_it(circuit, shipped, monkeypatch):
    """7 of 9 jobs at E1: half the shipped chance, half the mean of a Dirichlet with 20 pseudo-jobs as shipped."""
    monkeypatch.setattr(learned, "CIRCUIT_STRENGTHS", (20.0,))
    ground = next(cause for cause in shipped if cause.part == "E1" and cause.mode == "high resistance")
    fuse = next(cause for cause in shipped if cause.part == "F1")
    tally = learned.merged([tally_of(circuit, [ground], 7), tally_of(circuit, [fuse], 2)])
    now = chances(circuit, taught(default_priors(), tally, circuit))
    for part, count in (("E1", 7), ("F1", 2), ("S1", 0)):
        before = part_chance(shipped, part)
        by_hand = (20 * before + count) / 29
        assert part_chance(now, part) == pytest.approx((before + by_hand) / 2, rel=1e-6)
    assert learned.said_here(tally, circuit) == (("E1", 7, 9), ("F1", 2, 9))


def test_few_jobs_move_little_and_none_moves_far(circuit, shipped):
    fuse = next(cause for cause in shipped if cause.part == "F1")
    few = chances(circuit, taught(default_priors(), tally_of(circuit, [fuse]), circuit))
    assert part_chance(few, "F1") - part_chance(shipped, "F1") < 1 / 20
    many = taught(default_priors(), tally_of(circuit, [fuse], 100_000), circuit)
    assert max(many.favoured.values()) <= learned.LARGEST
    assert min(many.favoured.values()) >= learned.SHIPPED_KEEPS
    assert taught(default_priors(), Tally(), circuit) == default_priors()


def test_a_circuit_that_follows_its_kinds_is_told_from_one_that_does_not(circuit, shipped):
    """90 jobs as the kinds expect move a part less than 9 of which 7 are at one place."""
    even = {cause: max(1, round(900 * chance)) for cause, chance in shipped.items()}
    as_expected = Tally({learned.digest(circuit.model): CircuitTally({"lamp": 1.0}, even)})
    now = chances(circuit, taught(default_priors(), as_expected, circuit))
    for part in ("E1", "F1", "H1"):
        assert part_chance(now, part) == pytest.approx(part_chance(shipped, part), rel=0.1)
    switch = next(cause for cause in shipped if cause.part == "S1")
    often = learned.merged([tally_of(circuit, [switch], 7), tally_of(circuit, [next(iter(shipped))], 2)])
    assert part_chance(chances(circuit, taught(default_priors(), often, circuit)), "S1") > 0.2


def test_another_circuit_learns_the_kind_and_the_mode(circuit):
    """Ten thousand jobs elsewhere in which every second cause was a ground, always open."""
    other = CircuitTally(
        {"ground": 0.2, "lamp": 0.8},
        {Cause("E9", "ground", "open"): 5_000, Cause("H9", "lamp", "open"): 5_000},
    )
    before, now = default_priors(), learned.moved(default_priors(), Tally({"another": other}))
    # the odds of ground to lamp go from 0.2 : 0.8 to 0.5 : 0.5, four times
    odds = [one.rates["ground"] / one.rates["lamp"] for one in (before, now)]
    assert odds[1] / odds[0] == pytest.approx(4.0, rel=0.02)
    share = before.modes["ground"]["open"]
    assert now.modes["ground"]["open"] == pytest.approx((20 * share + 5_000) / 5_020)


def test_intervals_hold_hidden_rates_and_learning_helps():
    """A small version of `python -m bench learn`, whose figures stand in docs/learning.md."""
    sheets = [bench.sheet(name) for name in ("relay-load", "tail-lamps")]
    generator = np.random.default_rng(3)
    held = []
    for _ in range(30):
        true = bench.world(sheets, generator).true
        held += bench.covered(sheets, true, bench.worked(sheets, true, 100_000, generator))
    assert 0.85 <= np.mean(held) <= 0.95
    hidden = bench.world(sheets, generator)
    base = bench.worth(sheets, hidden.true, None)
    after = bench.worth(sheets, hidden.true, bench.worked(sheets, hidden.true, 10_000, generator))
    assert after[0] < base[0]
    assert after[1] < base[1]


@pytest.fixture
def place(tmp_path, monkeypatch):
    path = tmp_path / "learned.toml"
    monkeypatch.setenv("HALFSPLIT_LEARNED", str(path))
    return path


def test_files_of_three_workshops_are_added_up(circuit, shipped, place):
    causes = list(shipped)[:3]
    files = []
    for number, cause in enumerate(causes):
        path = place.with_name(f"{number}.toml")
        tally = replace(tally_of(circuit, [cause], number + 1), looks={"fuse": (number, 1)})
        write_learned(
            path, Learned(tally, ((f"shop {number}", datetime(2026, 3, 2, tzinfo=UTC), number + 1),))
        )
        files.append(read_learned(path))
    total = added(files)
    assert total.tally == added(files[::-1]).tally
    (one,) = total.tally.circuits.values()
    assert Counter(one.causes) == Counter(dict(zip(causes, (1, 2, 3), strict=True)))
    assert total.tally.looks == {"fuse": (3, 3)}
    assert [jobs for _, _, jobs in total.sources] == [1, 2, 3]


def test_the_engine_uses_the_file_until_it_is_switched_off(circuit, shipped, place):
    fuse = next(cause for cause in shipped if cause.part == "F1")
    assert priors_for(circuit) is default_priors()
    write_learned(place, Learned(tally_of(circuit, [fuse], 50)))
    assert part_chance(chances(circuit, priors_for(circuit)), "F1") > 1.3 * part_chance(shipped, "F1")
    switched(used=False)
    assert priors_for(circuit) is default_priors()
    place.write_text("use = yes", encoding="utf-8")
    assert priors_for(circuit) is default_priors()
    with pytest.raises(InputError, match="no file of `halfsplit learn`"):
        read_learned(place)


PROOF = (
    ("volts", "H1.1", "H1.2", (), 0.0),
    ("volts", "S1.1", None, (), 0.0),
    ("blown", "F1", None, (), "yes"),
    ("ohms", "F1.2", "body", (("unplug", "F1"),), 7.2),
    ("works", "H1", None, (("replace", "F1"),), "yes"),
)
"""What proved an open fuse, test after test, on the simulated vehicle."""


def closed_job(store, job_id):
    """A job whose cause was proven."""
    jobs.open_job(store, Intake(), who="Ada", job_id=job_id, circuit=LAMP)
    job = OpenJob(store, job_id, "Ada")
    jobs.complain_all(job, [("H1", "no", "on")])
    for quantity, at, to, changes, value in PROOF:
        place = {"quantity": quantity, "at": at, "to": to, "state": "on", "changes": changes}
        record_value(job, place | {"instrument": jobs.usual_instrument(quantity)}, value)
    jobs.close(job, complaint="dark", cause="fuse", correction="fuse")


def test_a_store_teaches_and_tells_nothing_about_anybody(tmp_path, place):
    with JobStore(f"sqlite:///{tmp_path}/jobs.db") as store:
        closed_job(store, "job-1")
        jobs.open_job(store, Intake(), who="Ada", job_id="open", circuit=LAMP)
        found, closed = learn(store, "north")
        assert (closed, found.tally.jobs) == (1, 1)
        (kept,) = store.closed_jobs(0, halfsplit.__version__)
        assert kept.lesson["fault"] == "F1 open"
        assert learn(store, "north")[0].tally == found.tally
        store.keep_lessons([(kept, {})], "another release")
        assert store.closed_jobs(0, halfsplit.__version__)[0].lesson is None
        dask = pytest.importorskip(
            "distributed", reason="Dask is not installed: pip install halfsplit[cluster]"
        )
        with dask.LocalCluster(n_workers=2, processes=False, dashboard_address="127.0.0.1:0") as cluster:
            assert learn(store, "north", cluster=cluster.scheduler_address)[0].tally == found.tally
        store.set_state("job-1", "open", who="Ada", at=kept.opened_at)
        assert store.closed_jobs(0, halfsplit.__version__) == ()
    ((cause, count),) = next(iter(found.tally.circuits.values())).causes.items()
    assert (cause.part, cause.kind, count) == ("F1", "fuse", 1)
    write_learned(place, found)
    text = place.read_text(encoding="utf-8")
    assert not [word for word in ("Secret", "Ada", "job-1", "dark", "work lamp") if word in text]
    assert read_learned(place) == found
