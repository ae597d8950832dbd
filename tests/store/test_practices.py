"""Exercises of practice: kept per person, changed only by who saw the last version."""

from dataclasses import replace

import pytest

from halfsplit.errors import InputError, NotFoundError
from halfsplit.store import EditConflictError
from tests.store.samples import later, practice


def test_an_exercise_comes_back_as_it_was_kept_and_a_second_press_begins_none(store):
    begun = store.practices.begin(practice())
    assert store.practices.get("practice-1") == begun == practice()
    assert store.practices.begin(practice(seed=8)) == begun


def test_it_goes_on_and_ends(store):
    begun = store.practices.begin(practice())
    act = {"do": "measure", "value": 12.3}
    went_on = store.practices.save(replace(begun, record={"acts": [act]}, tests=1, minutes=1.5))
    ended = replace(went_on, ended_at=later(9), solved=True, points=80, best_minutes=4.5)
    assert store.practices.save(ended) == replace(ended, version=2) == store.practices.get("practice-1")


def test_who_has_not_seen_the_last_version_changes_nothing(store):
    begun = store.practices.begin(practice())
    store.practices.save(replace(begun, tests=1))
    with pytest.raises(EditConflictError, match="nothing was changed"):
        store.practices.save(replace(begun, tests=2))
    assert store.practices.get("practice-1").tests == 1


def test_the_list_is_that_of_a_person_the_latest_first_without_what_is_long(store):
    for number, person in enumerate(("Ada", "Bo", "Ada")):
        store.practices.begin(practice(f"practice-{number}", person=person, begun_at=later(number)))
    assert [one.practice_id for one in store.practices.of("Ada")] == ["practice-2", "practice-0"]
    assert [one.practice_id for one in store.practices.of("", limit=2)] == ["practice-2", "practice-1"]
    assert {(one.circuit, len(one.record)) for one in store.practices.of("Bo")} == {("", 0)}


def test_what_is_not_there_or_cannot_be_kept_is_told(store):
    with pytest.raises(NotFoundError, match="no such exercise"):
        store.practices.get("practice-9")
    with pytest.raises(InputError, match="NUL"):
        store.practices.begin(practice(title="a\0b"))
