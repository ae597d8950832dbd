"""Practice on the page: what is hidden stays hidden, nothing is counted twice or lost, and the end is judged."""

import html
import re
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from halfsplit import job as jobs
from halfsplit.errors import ConflictError
from halfsplit.job import practising
from halfsplit.job.working import Workers, name_of, workers
from halfsplit.practice import DIFFICULTIES
from halfsplit.store import Practice
from halfsplit.workbench.app import create_app
from tests.circuits import ONE_LAMP as LAMP
from tests.waiting import PATIENCE

from .echo_app import endless

SEED = 918_273
"""What exercises of the page are drawn from here: any other number might stand on a page by chance."""
VOLTS = {"how": "volts", "at": "H1.1", "state": "on"}


@pytest.fixture(autouse=True)
def _seed(monkeypatch):
    monkeypatch.setattr("secrets.randbelow", lambda _most: SEED)


@pytest.fixture
def begun(store) -> Practice:
    return practising.begin_practice(store, "bench", LAMP, "single", seed=3, practice_id="p1")


def told(answer) -> str:
    """The page's words."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def causes(practice: Practice) -> list[str]:
    return list(practice.record["hidden"]["faults"])


def parts_of(practice: Practice) -> set[str]:
    return {name.split(" ")[0] for name in causes(practice)}


def judged(store, practice_id="p1") -> Practice:
    work = workers.of(name_of(store, practising.PRACTICE, practice_id))
    assert work.ended.wait(PATIENCE)
    assert (work.state, work.problem) == ("done", "")
    return store.practices.get(practice_id)


def test_an_exercise_is_begun_once_and_its_page_tells_the_complaint_and_not_the_cause(client, store):
    form = {"source": "text", "text": LAMP, "difficulty": "single", "practice_id": "p1", "person_name": "Ada"}
    for _ in range(2):
        answer = client.post("/practice", data=form)
        assert (answer.status_code, answer.headers["location"]) == (303, "/practice/p1")
    (one,) = store.practices.of("Ada")
    kept = store.practices.get("p1")
    assert kept.seed == SEED
    pages = [
        client.get("/practice/p1"),
        client.get("/practice?person_name=Ada"),
        client.get("/practice/p1?how=ohms"),
    ]
    assert "work lamp" in told(pages[0])
    assert f"Go on: {one.title}" in told(pages[1])
    for page in pages:
        assert page.status_code == 200
        assert str(SEED) not in page.text
        for cause in causes(kept):
            assert cause not in told(page)


@pytest.mark.parametrize("difficulty", DIFFICULTIES)
def test_every_difficulty_of_a_pattern_can_be_begun(client, store, difficulty):
    answer = client.post(
        "/practice", data={"source": "pattern:relay-load", "difficulty": difficulty, "practice_id": "p1"}
    )
    assert answer.status_code == 303
    page = told(client.get("/practice/p1"))
    assert ("It comes and goes." in page) == (difficulty == "intermittent")
    assert ("Others have worked at" in page) == (difficulty == "misleading history")
    assert ("both have to be named" in page) == (difficulty == "pair")


def test_patterns_without_a_load_are_not_offered_since_no_customer_would_notice(client):
    offered = set(re.findall(r'value="pattern:([^"]+)"', client.get("/practice").text))
    assert {one.name for one in jobs.samples("pattern")} - offered == {"pedal-sensor", "wheel-speed"}


def test_a_test_is_priced_before_it_is_made_and_counted_once(client, store, begun):
    page = told(client.get("/practice/p1", params=VOLTS))
    assert "H1.1) to battery negative post" in page
    for _ in range(2):
        answer = client.post("/practice/p1/measure", data=VOLTS | {"act_id": "a1"})
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/practice/p1?how=volts&at=H1.1")
    kept = store.practices.get("p1")
    assert kept.tests == 1
    assert kept.minutes > 0
    assert "H1.1 to battery negative, on" in told(client.get("/practice/p1"))


def test_it_goes_on_after_the_server_has_started_again(client, store, begun):
    client.post("/practice/p1/measure", data=VOLTS | {"act_id": "a1"})
    shown = re.search(r'class="shown">([^<]+)', client.get("/practice/p1").text)[1]
    with jobs.JobStore(str(store._database.engine.url.render_as_string(hide_password=False))) as other:
        later = TestClient(create_app(other), base_url="http://127.0.0.1", follow_redirects=False)
        assert re.search(r'class="shown">([^<]+)', later.get("/practice/p1").text)[1] == shown
        assert later.post("/practice/p1/measure", data=VOLTS | {"act_id": "a2"}).status_code == 303
    assert store.practices.get("p1").tests == 2
    assert "2 tests" in told(client.get("/practice/p1"))


def test_what_goes_on_in_two_places_at_once_is_refused_by_the_store(store, begun):
    place = {"quantity": "volts", "at": "H1.1", "state": "on", "instrument": "meter"}
    practising.measure(store, begun, place, "a1")
    with pytest.raises(ConflictError, match="went on somewhere else"):
        practising.measure(store, begun, place, "a2")
    again = practising.measure(store, store.practices.get("p1"), place, "a2")
    assert (again.tests, len(again.record["acts"])) == (2, 2)


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"at": ""}, "there is no '' for that"),
        ({"at": "H9.1"}, "there is no 'H9.1' for that"),
        ({"at": "H1.1", "to": "nowhere"}, "nowhere"),
        ({"at": "H1.1", "unplug": "Q1"}, "Q1"),
        ({"at": "H1.1", "lamp": "H1"}, "is no fuse"),
        ({"at": "H1.1", "jump_from": "H1.1"}, "a jump lead has two ends"),
        ({"at": "H1.1\x00", "how": "works"}, ""),
        ({"at": "X" * 5000}, "for that in this circuit"),
        ({"how": "<script>", "at": "<script>"}, "<script>"),
    ],
)
def test_what_cannot_be_measured_is_told_and_costs_nothing(client, store, begun, form, words):
    answer = client.post("/practice/p1/measure", data={"how": "volts", "state": "on"} | form)
    assert answer.status_code in (303, 422)
    assert words.casefold() in told(answer).casefold()
    assert "<script>" not in answer.text.replace('<script type="module"', "")
    assert (answer.status_code == 303) == (store.practices.get("p1").tests == 1)
    assert client.get("/practice/p1", params=form).status_code == 200


def test_a_hint_is_told_until_something_is_done_and_its_test_can_be_chosen(client, store, begun):
    assert client.post("/practice/p1/hint", data={"act_id": "h1"}).status_code == 303
    page = client.get("/practice/p1")
    assert "Hint:" in told(page)
    assert "at most 90 points" in told(page)
    chosen = dict(
        re.findall(r'<input type="hidden" name="(how|at|to|state|unplug|fit)" value="([^"]*)"', page.text)
    )
    assert client.post("/practice/p1/measure", data=chosen | {"act_id": "a1"}).status_code == 303
    assert "Hint:" not in told(client.get("/practice/p1"))
    assert store.practices.get("p1").hints == 1


def test_naming_the_cause_ends_it_and_both_paths_are_judged(client, store, begun):
    client.post("/practice/p1/measure", data={"how": "works", "at": "H1", "state": "off", "act_id": "a1"})
    client.post("/practice/p1/measure", data=VOLTS | {"act_id": "a2"})
    unknown = client.post("/practice/p1/cause", data={"cause": "Q9"})
    assert unknown.status_code == 422
    assert "it was not counted" in told(unknown)
    wrong = next(name for name in ("H1", "F1", "S1", "E1") if name not in " ".join(causes(begun)))
    client.post("/practice/p1/cause", data={"cause": wrong, "act_id": "n1"})
    assert f"It is not {wrong}" in told(client.get("/practice/p1"))
    client.post("/practice/p1/cause", data={"cause": parts_of(begun).pop(), "act_id": "n2"})
    page = client.get("/practice/p1")
    assert f"Found: {causes(begun)[0]}" in told(page)
    assert 'hx-get="/practice/p1/judged"' in page.text
    kept = judged(store)
    assert (kept.solved, kept.wrong, kept.tests) == (True, 1, 2)
    assert kept.points == max(0, round(100 * min(1, kept.best_minutes / kept.minutes)) - 25)
    end = client.get("/practice/p1/judged")
    assert f"{kept.points} points" in told(end)
    assert "Wasted." in told(end)
    assert 'class="own"' in end.text
    assert "hx-get" not in end.text
    assert len(kept.record["own"]["steps"]) == 2
    # What is told of the end is told to the person's results as well; one more exercise makes them a curve.
    store.practices.begin(replace(kept, practice_id="p2", points=80))
    results = client.get("/practice")
    assert 'class="mean"' in results.text
    assert "Points of the last 2 exercises" in results.text
    assert client.post("/practice/p1/measure", data=VOLTS).headers["location"] == "/practice/p1"


def test_giving_up_makes_no_points(client, store, begun, monkeypatch):
    monkeypatch.setattr(practising, "judged_paths", endless)
    client.post("/practice/p1/give-up", data={"act_id": "g1"})
    assert f"Given up: {causes(begun)[0]}" in told(client.get("/practice/p1"))
    workers.stop(name_of(store, practising.PRACTICE, "p1"))
    path = {"steps": [], "minutes": 9.0, "proven": True, "question": [3.0]}
    kept = practising.keep_judged(store, "p1", {"own": path | {"minutes": 0.0}, "best": path})
    assert (kept.points, kept.best_minutes, kept.solved) == (0, 9.0, False)
    assert "No test was made." in told(client.get("/practice/p1"))


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"source": "text", "text": "battery G1\nlamp H1 on fire"}, "line 2"),
        ({"source": "text", "text": ""}, "no circuit to practise on"),
        ({"source": "pattern:none"}, "there is no pattern 'none'"),
        ({"source": "job:none"}, "no job 'none'"),
        ({"source": "pattern:relay-load", "difficulty": "cruel"}, "is no difficulty"),
        ({"source": "text", "text": "x" * 400_001}, "more than 400,000 characters"),
    ],
)
def test_what_cannot_be_practised_is_told_and_what_was_pasted_stays(client, form, words):
    answer = client.post("/practice", data={"difficulty": "single"} | form)
    assert answer.status_code == 422
    assert words in told(answer)
    assert html.escape(form.get("text", "")[:20]) in answer.text


def test_everybody_sees_their_own_exercises_only(signed_in, store):
    ada, ben = signed_in("technician"), signed_in("viewer")
    form = {
        "source": "text",
        "text": LAMP,
        "difficulty": "single",
        "practice_id": "p1",
        "person_name": "viewer",
    }
    assert ada.post("/practice", data=form).status_code == 303
    assert store.practices.get("p1").person == "technician"
    assert ada.get("/practice/p1").status_code == 200
    for answer in (ben.get("/practice/p1"), ben.post("/practice/p1/give-up"), ben.get("/practice/p1/judged")):
        assert answer.status_code == 404
    assert "/practice/p1" not in ben.get("/practice?person_name=technician").text
    assert ben.post("/practice", data=form | {"practice_id": "p2"}).status_code == 303
    assert ben.post("/practice/p2/give-up", headers={"X-CSRF-Token": "x"}).status_code == 403
    stranger = TestClient(ada.app, base_url="http://shop.test", follow_redirects=False)
    assert stranger.get("/practice").headers["location"] == "/sign-in"


def test_long_work_that_fails_says_so_and_keeps_nothing():
    kept = []
    work = Workers().start("a", int, ("x",), kept.append)
    assert work.ended.wait(PATIENCE)
    assert (work.state, kept) == ("failed", [])
    assert work.problem.startswith("TypeError")
