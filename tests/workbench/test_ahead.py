"""What is worked out while the technician walks: the next reading finds it solved, and nothing that is told changes."""

import pytest

from halfsplit import job as jobs
from halfsplit.circuit.batch import Batch
from halfsplit.diagnosis import answers, diagnosis
from halfsplit.job import replay
from halfsplit.job.ahead import AHEAD, LIKELY, think_ahead
from halfsplit.job.bench import weighed
from halfsplit.job.memory import at_bench, memory_of
from halfsplit.job.open_job import OpenJob
from halfsplit.notation.demos import demo

DEMO = "rear-lamps"


@pytest.fixture(autouse=True)
def _afresh(monkeypatch):
    """What is counted here is what this job is solved for, whatever another test has asked before."""
    monkeypatch.setattr(replay, "Diagnosis", diagnosis.Diagnosis)
    monkeypatch.setattr(answers, "KEPT", 16)


@pytest.fixture
def solved(monkeypatch):
    """How many cells, hypotheses times cars, the circuit has been solved for."""
    count = [0]
    init = Batch.__init__

    def counted(self, systems, cases, *args):
        count[0] += len(systems) * len(cases)
        init(self, systems, cases, *args)

    monkeypatch.setattr(Batch, "__init__", counted)
    return count


def begun(store, job_id):
    jobs.open_job(store, jobs.Intake(), who="kim", job_id=job_id, circuit=demo(DEMO).text)
    job = OpenJob(store, job_id, "kim")
    jobs.complain_all(job, [(one.part, one.works, one.state) for one in demo(DEMO).complaints])
    return job


def likeliest(job):
    with at_bench(job.store, job.job_id) as bench:
        test = bench.answers["best"]
        outcome = max(test.outcomes, key=lambda one: one.probability)
        return test, outcome.word or outcome.typical


def test_a_reading_finds_solved_what_was_thought_of(tmp_path, solved):
    with jobs.JobStore(f"sqlite:///{tmp_path / 'jobs.db'}") as store:
        told, work = [], []
        for ahead in (False, True):
            job = begun(store, f"job-{ahead}")
            jobs.bench_view(job)
            while ahead and think_ahead(memory_of(store)):
                pass
            test, value = likeliest(job)
            before = solved[0]
            with at_bench(store, job.job_id) as bench:
                bench.told.diagnosis.record(test, value, sure=True)
                after = bench.told.diagnosis
                told.append((after.next_tests(3), [one.probability for one in after.suspects()]))
            work.append(solved[0] - before)
    assert told[0] == told[1]
    assert work[1] <= work[0] / 2, work


def test_a_word_that_was_thought_of_is_known(tmp_path, monkeypatch):
    with jobs.JobStore(f"sqlite:///{tmp_path / 'jobs.db'}") as store:
        job = begun(store, "j")
        jobs.bench_view(job)
        while think_ahead(memory_of(store)):
            pass
        with at_bench(store, "j") as bench:
            known, test = bench.told.diagnosis, bench.answers["best"]
        word = max(test.outcomes, key=lambda outcome: outcome.probability).word
        assert word
        known.record(test, word, sure=True)
        with monkeypatch.context() as patch:
            patch.setattr(diagnosis, "propose", None)
            _, tests, *_ = weighed(known)
        other = begun(store, "afresh")
        with at_bench(store, other.job_id) as bench:
            afresh = bench.told.diagnosis
        afresh.record(test, word, sure=True)
        assert [each.measurement for each in tests] == [each.measurement for each in weighed(afresh)[1]]


def test_a_complaint_finds_its_state_solved(tmp_path, solved):
    with jobs.JobStore(f"sqlite:///{tmp_path / 'jobs.db'}") as store:
        work = []
        for ahead in (False, True):
            jobs.open_job(store, jobs.Intake(), who="kim", job_id=f"j{ahead}", circuit=demo(DEMO).text)
            job = OpenJob(store, f"j{ahead}", "kim")
            jobs.bench_view(job)
            while ahead and think_ahead(memory_of(store)):
                pass
            before, one = solved[0], demo(DEMO).complaints[0]
            jobs.complain_all(job, [(one.part, one.works, one.state)])
            with at_bench(store, job.job_id) as bench:
                bench.told.diagnosis.suspects()
            work.append(solved[0] - before)
    assert work[1] < work[0], work


def test_a_reading_that_fits_nothing_finds_what_is_not_drawn_solved(tmp_path, solved):
    with jobs.JobStore(f"sqlite:///{tmp_path / 'jobs.db'}") as store:
        told, work = [], []
        for ahead in (False, True):
            job = begun(store, f"job-{ahead}")
            jobs.bench_view(job)
            with at_bench(store, job.job_id) as bench:
                doubted = bench.told.diagnosis
                if ahead:
                    doubted.prepare_doubt()
                before = solved[0]
                point = next(one for one in doubted.circuit.points if one.startswith("F"))
                doubted.measure("volts", point, state=demo(DEMO).complaints[0].state, value=7.3, sure=True)
                told.append([one.probability for one in doubted.suspects()])
                work.append(solved[0] - before)
    assert told[0] == told[1]
    assert work[1] < work[0], work


def test_it_ends_and_leaves_the_job_alone(tmp_path):
    with jobs.JobStore(f"sqlite:///{tmp_path / 'jobs.db'}") as store:
        job = begun(store, "j")
        view = jobs.bench_view(job)
        memory = memory_of(store)
        thought = sum(1 for _ in iter(lambda: think_ahead(memory), False))
        with at_bench(store, "j") as bench:
            likely = [one for one in bench.answers["best"].outcomes if one.probability >= LIKELY]
            assert 2 <= thought == len(likely) + 1  # the last: what the drawing does not show
            assert bench.answers[AHEAD] == thought
            assert len(bench.told.diagnosis.readings) == len(demo(DEMO).complaints)
        assert jobs.bench_view(job).tests == view.tests


def test_it_gives_way_to_whoever_asks(tmp_path):
    with jobs.JobStore(f"sqlite:///{tmp_path / 'jobs.db'}") as store:
        job = begun(store, "j")
        view = jobs.bench_view(job)
        memory = memory_of(store)
        solve, asked = Batch.__init__, [0]

        def somebody_asks(self, *args):
            asked[0] += 1
            memory.of("j")
            solve(self, *args)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Batch, "__init__", somebody_asks)
            assert not think_ahead(memory)
        assert asked[0] == 1
        with at_bench(store, "j") as bench:
            assert AHEAD not in bench.answers
        assert jobs.bench_view(job).tests == view.tests
        assert think_ahead(memory)
