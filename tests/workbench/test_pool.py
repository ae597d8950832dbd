"""The engine's processes: a job stays with one, a heavy one holds up no other, and what nobody waits for is ended."""

import asyncio
import contextlib
import os
import signal

import pytest

from halfsplit.workbench import pool
from halfsplit.workbench.guard import Guard
from halfsplit.workbench.pool import BENCH, Pool
from tests.waiting import PATIENCE

from .echo_app import start


async def here(_scope, _receive, send):
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": b"here"})


async def asked(app, path, body=b"", gone=None, brought=None):
    """The status and the body of an answer; ``gone``: when whoever asks goes away; ``brought``: set once it is sent."""
    scope = {
        "type": "http",
        "method": "POST",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "headers": [(b"host", b"127.0.0.1"), (b"transfer-encoding", b"chunked")],
        "scheme": "http",
        "http_version": "1.1",
        "client": ("127.0.0.1", 1),
    }
    coming = [{"type": "http.request", "body": body, "more_body": False}]
    sent = []

    async def receive():
        if brought:
            brought.set()
        if coming:
            return coming.pop()
        await (gone or asyncio.Event()).wait()
        return {"type": "http.disconnect"}

    async def send(message):
        sent.append(message)

    await app(scope, receive, send)
    return sent[0]["status"] if sent else 0, b"".join(one.get("body", b"") for one in sent)


async def come(condition):
    """Wait until a condition holds, while the pool goes on."""
    async with asyncio.timeout(PATIENCE):
        while not condition():  # noqa: ASYNC110 - nothing tells when it does
            await asyncio.sleep(0.02)


@pytest.fixture
def pooled(monkeypatch):
    monkeypatch.setattr(pool, "PRELOAD", ["halfsplit.workbench.pipe"])
    monkeypatch.setattr(pool, "HELD_UP", 0.1)
    monkeypatch.setattr(pool, "ABANDONED", 0.2)
    made = Pool(here, start, 2)
    yield made
    made.close()


@pytest.mark.parametrize(
    ("path", "job"),
    [
        ("/jobs/a", "a"),
        ("/jobs/a/evidence/e-1/strike", "a"),
        ("/api/v1/jobs/a/suspects", "a"),
        ("/jobs/a/report.pdf", "a"),
        ("/jobs/new", None),
        ("/jobs/import", None),
        ("/jobs", None),
        ("/jobs/a/changes", None),
        ("/jobs/a/scan/live", None),
        ("/jobs/a/captures", None),
    ],
)
def test_the_engines_addresses_are_known(path, job):
    found = BENCH.fullmatch(path)
    assert (found[1] if found else None) == job


def test_a_job_stays_with_its_process_and_the_rest_with_the_server(pooled):
    async def work():
        first = await asked(pooled, "/jobs/a")
        assert await asked(pooled, "/jobs/a/drawing") == first
        assert await asked(pooled, "/jobs/b") != first
        assert await asked(pooled, "/jobs") == (200, b"here")
        assert int(first[1]) != os.getpid()

    asyncio.run(work())


def test_an_answer_given_before_the_request_has_come_is_not_lost(pooled):
    """A method that is not allowed is answered at once, with the body still on its way."""

    async def work():
        await asked(pooled, "/jobs/a")
        answers = [await asked(pooled, "/jobs/hasty/drawing", b"x" * 3_000_000) for _ in range(20)]
        assert {status for status, _ in answers} == {200}

    asyncio.run(work())


def test_an_entry_is_stored_by_the_server_and_what_is_asked_about_it_by_the_jobs_process(pooled):
    asks = False

    async def stores(scope, receive, send):
        assert scope["state"][pool.ASKED_ELSEWHERE]
        body = (await receive())["body"]
        await send({"type": "http.response.start", "status": pool.PASSED_ON if asks else 201, "headers": []})
        await send({"type": "http.response.body", "body": body})

    async def work():
        nonlocal asks
        pooled.app = stores
        assert await asked(pooled, "/jobs/a/evidence", b"12.6") == (201, b"12.6")
        asks = True
        assert await asked(pooled, "/jobs/a/evidence", b"126") == await asked(pooled, "/jobs/a/drawing")

    asyncio.run(work())


def test_a_heavy_job_holds_up_no_other_and_ends_when_nobody_waits(pooled):
    async def work():
        await asked(pooled, "/jobs/a")
        gone = asyncio.Event()
        pooled._places["slow"] = pooled._places["a"]
        heavy = asyncio.ensure_future(asked(pooled, "/jobs/slow", gone=gone))
        await asyncio.sleep(2 * pool.HELD_UP)
        other = await asked(pooled, "/jobs/a")  # it moves: its own process is busy
        assert other[0] == 200
        busy = pooled._places["slow"].process
        assert busy.is_alive()
        assert not heavy.done()
        gone.set()
        with contextlib.suppress(asyncio.TimeoutError):
            await asyncio.wait_for(heavy, PATIENCE)
        await come(lambda: not busy.is_alive())
        assert (await asked(pooled, "/jobs/a"))[0] == 200

    asyncio.run(work())


def test_a_process_that_dies_is_told_and_replaced(pooled):
    async def work():
        brought = asyncio.Event()
        heavy = asyncio.ensure_future(asked(pooled, "/jobs/slow", brought=brought))
        await asyncio.wait_for(brought.wait(), PATIENCE)
        dead = pooled._places["slow"]
        os.kill(dead.process.pid, signal.SIGKILL)
        status, body = await heavy
        assert (status, b"What was entered is kept" in body) == (503, True)
        await come(lambda: dead not in pooled._processes)
        assert (await asked(pooled, "/jobs/b"))[0] == 200

    asyncio.run(work())


def test_a_body_that_is_too_large_is_turned_away_behind_the_guard(pooled, monkeypatch):
    monkeypatch.setattr("halfsplit.workbench.guard.LARGEST_BODY", 1000)

    async def work():
        app = Guard(pooled)
        assert (await asked(app, "/jobs/a", b"x" * 1000))[0] == 200
        assert (await asked(app, "/jobs/a", b"x" * 1001))[0] == 413

    asyncio.run(work())


def test_who_waits_for_a_job_takes_what_was_worked_out_meanwhile(tmp_path, monkeypatch):
    """Four people ask for one job at once: it is worked out once; who has gone by then is told so."""
    from concurrent.futures import ThreadPoolExecutor

    from halfsplit import job as jobs
    from halfsplit.job import bench
    from halfsplit.job.turns import AbandonedError, is_waited_for
    from tests.circuits import ONE_LAMP

    worked, real = [], bench._work_out

    def counted(known):
        worked.append(known.job.last_change)
        return real(known)

    monkeypatch.setattr(bench, "_work_out", counted)
    with jobs.JobStore(f"sqlite:///{tmp_path}/jobs.db") as store:
        jobs.open_job(store, jobs.Intake(), who="Ada", job_id="a", circuit=ONE_LAMP)
        job = jobs.OpenJob(store, "a", "Ada")
        jobs.complain_all(job, [("H1", "no", "on")])
        with ThreadPoolExecutor(4) as people:
            views = list(people.map(lambda _: jobs.bench_view(job), range(4)))
        assert len(worked) == 1
        assert {view.sequence for view in views} == {job.record.last_change}
        token = is_waited_for.set(lambda: False)
        with pytest.raises(AbandonedError):
            jobs.bench_view(job)
        is_waited_for.reset(token)
