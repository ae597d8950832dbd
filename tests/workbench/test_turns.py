"""What several people on several jobs cost: one computation after the other, and one for all who wait for the same."""

import re
import threading

import pytest

from halfsplit import job as jobs
from halfsplit.job import pictures
from halfsplit.job.memory import memory_of
from halfsplit.job.open_job import OpenJob
from halfsplit.job.turns import LATE, TURN, Turns
from halfsplit.workbench.pool import BENCH
from tests.waiting import PATIENCE


class Clock:
    """Seconds that pass when a test says so."""

    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def waiting(clock):
    """Turns, and a function that lets a thread wait for one; it notes its name when it has it."""
    order, here = [], Turns(clock)

    def wait(name, **how):
        def work():
            with here.turn(**how):
                order.append(name)

        before = len(here._waiting)
        thread = threading.Thread(target=work, daemon=True)
        thread.start()
        while thread.is_alive() and len(here._waiting) == before:
            pass
        return thread

    return here, wait, order


def test_turns_come_in_the_order_of_asking_and_what_is_late_after_it(waiting, clock):
    here, wait, order = waiting
    with here.turn():
        threads = [wait("drawing", late=True), wait("first"), wait("second")]
        clock.now += TURN / 2
        threads.append(wait("third"))
        with here.turn(wait=False) as mine:  # it has it already
            assert mine
    for thread in threads:
        thread.join(PATIENCE)
    assert order == ["first", "second", "third", "drawing"]


def test_what_is_late_is_not_put_off_for_ever(waiting, clock):
    here, wait, order = waiting
    with here.turn():
        threads = [wait("drawing", late=True)]
        clock.now += LATE + 0.1
        threads.append(wait("test"))
    for thread in threads:
        thread.join(PATIENCE)
    assert order == ["drawing", "test"]


def test_long_work_shares_and_nobody_waits_who_does_not_want_to(waiting, clock):
    here, wait, order = waiting
    with here.turn():
        clock.now += TURN + 0.1
        wait("other").join(PATIENCE)
        assert order == ["other"]
        with here.turn():
            outcome = []
            thread = threading.Thread(target=lambda: outcome.append(here.turn(wait=False).__enter__()))
            thread.start()
            thread.join(PATIENCE)
            assert outcome == [False]


def fetched_late(page):
    """The addresses that a page fetches once it stands there."""
    return [
        found.replace("&amp;", "&").replace("&#34;", '"')
        for found in re.findall(r'hx-get="(/jobs/[^"]+)" hx-trigger="load"', page)
    ]


def test_what_a_page_fetches_late_waits_for_nobodys_entries(client, store, job, monkeypatch):
    """Ten people look at a job while others enter readings: drawing and looks are those of their page."""
    page = client.get("/jobs/lamp", headers={"HX-Request": "true"}).text
    late = fetched_late(page)
    assert {one.split("?")[0] for one in late} == {"/jobs/lamp/drawing", "/jobs/lamp/looks"}
    first = [client.get(one) for one in late]
    monkeypatch.setattr(jobs.bench, "_work_out", None)  # nothing can be worked out any more
    monkeypatch.setattr(jobs.bench, "test_card", None)
    monkeypatch.setattr(pictures, "arranged", None)
    OpenJob(store, "lamp", "Bob").keep("note", {"text": "seen"})
    jobs.record(OpenJob(store, "lamp", "Bob"), PLACE, "12.4 V", confirmed=True)
    for one, before in zip(late, first, strict=True):
        again = client.get(one)
        assert again.status_code == before.status_code == 200
        assert without_ids(again.text) == without_ids(before.text)


PLACE = {"quantity": "volts", "at": "F1.2", "to": None, "state": "on", "instrument": "meter", "changes": []}


def without_ids(text):
    """A page without the fresh ids of its forms."""
    return re.sub(r'name="entry_id" value="[^"]*"', "", text)


def test_the_drawing_is_of_all_that_its_page_knows(client, store, job):
    """A reading entered since is in the page, and so it has to be in its drawing."""
    client.get("/jobs/lamp")
    jobs.record(OpenJob(store, "lamp", "Ada"), PLACE, "12.4 V", confirmed=True)
    page = client.get("/jobs/lamp", headers={"HX-Request": "true"}).text
    drawing = next(one for one in fetched_late(page) if "drawing" in one)
    assert "12.4 V" in client.get(drawing).text
    assert client.get("/jobs/lamp/drawing?since=-1").status_code == 422


def test_the_same_arrangement_is_made_once(client, job, monkeypatch):
    made = []
    arranged = pictures.arranged
    monkeypatch.setattr(pictures, "arranged", lambda *given: made.append(given) or arranged(*given))
    pictures._arranged.cache_clear()
    view = jobs.bench_view(OpenJob(client.app.app.state.store, "lamp"))
    for at in ("F1.2", "S1.1", "H1.1"):
        drawn = pictures.bench_drawing(OpenJob(client.app.app.state.store, "lamp"), place=PLACE | {"at": at})
        assert drawn.svg
    assert view.suspects
    assert len(made) == 1


def test_the_server_itself_works_nothing_out(client, store, job):
    """Pages that the engine's processes do not answer make no diagnosis in the server, which is to be free."""
    own = [
        path
        for path in ("intake", "circuit", "circuit/taps", "captures", "scan", "drain", "plan", "scan/live")
        if not BENCH.fullmatch(f"/jobs/lamp/{path}")
    ]
    assert len(own) > 5
    for path in own:
        assert client.get(f"/jobs/lamp/{path}").status_code == 200
    assert not memory_of(store).knows("lamp")
    assert BENCH.fullmatch("/jobs/lamp/looks")
