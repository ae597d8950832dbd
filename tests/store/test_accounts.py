"""Accounts, sessions, throttle records, the first owner's link and the audit list, on SQLite and PostgreSQL."""

from dataclasses import replace
from datetime import timedelta
from threading import Thread

import pytest

from halfsplit.errors import ConflictError, InputError, NotFoundError
from halfsplit.store import Session, User
from tests.store.samples import NOW, intake, later

ADA = User(name="Ada", password_hash="$argon2id$ada", role="owner", created_at=NOW)
BO = User(name="Bo", password_hash="$argon2id$bo", role="technician", created_at=NOW)


@pytest.fixture
def accounts(store):
    store.accounts.add_user(ADA, who="Ada", at=NOW)
    return store.accounts


def session(user: str = "Ada", token_hash: str = "hash-1") -> Session:
    return Session(
        token_hash=token_hash, user=user, csrf_secret="secret", created_at=NOW, expires_at=later(60)
    )


def test_names_differ_by_more_than_case(accounts):
    assert accounts.user("ADA ") == ADA
    with pytest.raises(ConflictError, match="there is a user 'aDA' already"):
        accounts.add_user(replace(BO, name="aDA"), who="Ada", at=NOW)
    with pytest.raises(InputError, match="needs a name"):
        accounts.add_user(replace(BO, name="  "), who="Ada", at=NOW)
    with pytest.raises(InputError, match="role: found 'king'"):
        accounts.add_user(replace(BO, role="king"), who="Ada", at=NOW)
    with pytest.raises(NotFoundError, match="no user 'Cy'"):
        accounts.user("Cy")
    assert accounts.users() == (ADA,)


def test_hashes_and_secrets_are_not_shown(accounts):
    assert "argon2" not in repr(accounts.user("Ada"))
    assert "secret" not in repr(session())
    assert "hash-1" not in repr(session())


def test_a_session_lasts_until_it_expires(accounts):
    accounts.open_session(session("ada"))
    assert accounts.session("hash-1", later(59)) == (session(), ADA)
    assert accounts.session("hash-1", later(60)) is None
    assert accounts.session("hash-2", NOW) is None
    accounts.close_session("hash-1")
    assert accounts.session("hash-1", NOW) is None
    with pytest.raises(NotFoundError):
        accounts.open_session(session("Cy", "hash-3"))


@pytest.mark.parametrize(
    "change", [{"password_hash": "$argon2id$new"}, {"role": "viewer"}, {"disabled": True}]
)
def test_a_changed_user_is_signed_out(accounts, change):
    accounts.add_user(BO, who="Ada", at=NOW)
    accounts.open_session(session("Bo"))
    assert accounts.change_user("bo", who="Ada", at=NOW, **change) == replace(BO, **change)
    assert accounts.user("Bo") == replace(BO, **change)
    assert accounts.session("hash-1", NOW) is None


def test_a_disabled_user_has_no_session(accounts):
    accounts.add_user(replace(BO, disabled=True), who="Ada", at=NOW)
    accounts.open_session(session("Bo"))
    assert accounts.session("hash-1", NOW) is None


@pytest.mark.parametrize("change", [{"role": "viewer"}, {"disabled": True}])
def test_the_last_owner_stays(accounts, change):
    with pytest.raises(ConflictError, match="nobody would be left"):
        accounts.change_user("Ada", who="Ada", at=NOW, **change)
    assert accounts.user("Ada") == ADA
    accounts.add_user(replace(BO, role="owner"), who="Ada", at=NOW)
    accounts.change_user("Ada", who="Bo", at=NOW, **change)


def tries(accounts, origin, at=NOW):
    """How many tries of an origin are counted since then; asking counts none."""
    seen = []

    def look(_origin, count, _last):
        seen.append(count)
        return timedelta(seconds=1)

    accounts.count_try([origin], later(5000), at, look)
    return seen[0]


def at_once(_origin, _tries, _last):
    return timedelta()


def test_tries_to_sign_in_are_counted_by_origin(accounts):
    for minutes in (0, 1, 2):
        assert not accounts.count_try(["ada 192.0.2.7", "ada"], later(minutes), NOW, at_once)
    assert tries(accounts, "ada 192.0.2.7", later(1)) == 2
    assert tries(accounts, "bo 192.0.2.7") == 0
    waits = {"ada": timedelta(seconds=9), "ada 192.0.2.7": timedelta(seconds=4)}
    found = accounts.count_try(list(waits), later(3), NOW, lambda origin, count, _: waits[origin] * count)
    assert (found, tries(accounts, "ada")) == (timedelta(seconds=27), 3)  # what has to wait is not counted
    accounts.forget_tries("ada 192.0.2.7", ["ada"], later(2))
    assert (tries(accounts, "ada 192.0.2.7"), tries(accounts, "ada")) == (0, 2)


def test_an_address_is_known_from_which_somebody_has_signed_in(accounts):
    accounts.open_session(session(), address="192.0.2.7")
    assert accounts.has_signed_in(" ADA ", "192.0.2.7", NOW)
    assert not accounts.has_signed_in("Ada", "192.0.2.8", NOW)
    assert not accounts.has_signed_in("Bo", "192.0.2.7", NOW)
    assert not accounts.has_signed_in("Ada", "192.0.2.7", later(1))


def test_tidying_drops_only_what_is_over(accounts):
    accounts.open_session(session())
    accounts.open_session(replace(session(), token_hash="hash-2", expires_at=later(5000)))
    for minutes in (0, 1000):
        accounts.count_try(["ada"], later(minutes), NOW, at_once)
    accounts.tidy(later(1500))
    assert accounts.session("hash-1", NOW) is None
    assert accounts.session("hash-2", later(1500)) is not None
    assert tries(accounts, "ada") == 1


def test_the_owner_link_works_once(store):
    accounts = store.accounts
    assert accounts.needs_owner()
    accounts.keep_owner_link("old", later(60))
    accounts.keep_owner_link("link", later(60))
    assert not accounts.owner_link_holds("old", NOW)
    assert not accounts.owner_link_holds("link", later(60))
    assert accounts.owner_link_holds("link", NOW)
    for token, at in (("old", NOW), ("link", later(60)), ("guess", NOW)):
        with pytest.raises(ConflictError, match="used or has expired"):
            accounts.redeem_owner_link(token, ADA, at=at)
    assert accounts.redeem_owner_link("link", replace(ADA, role="viewer"), at=NOW).role == "owner"
    assert not accounts.needs_owner()
    with pytest.raises(ConflictError):
        accounts.redeem_owner_link("link", replace(ADA, name="Eve"), at=NOW)
    assert [user.name for user in accounts.users()] == ["Ada"]


def test_two_who_use_the_link_at_once_make_one_owner(store):
    store.accounts.keep_owner_link("link", later(60))
    refused = []

    def redeem(name: str) -> None:
        try:
            store.accounts.redeem_owner_link("link", replace(ADA, name=name), at=NOW)
        except ConflictError:
            refused.append(name)

    threads = [Thread(target=redeem, args=(name,)) for name in ("Ada", "Bo", "Cy")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(store.accounts.users()), len(refused)) == (1, 2)


def test_a_name_that_is_taken_does_not_use_the_link_up(accounts, store):
    store.accounts.keep_owner_link("link", later(60))
    with pytest.raises(ConflictError):
        accounts.redeem_owner_link("link", ADA, at=NOW)
    assert accounts.owner_link_holds("link", NOW)


def test_audit_says_who_did_what(accounts, store):
    store.open_job("job-1", intake(), who="Ada", at=later(1))
    accounts.add_user(BO, who="Ada", at=later(2))
    accounts.change_user("Bo", who="Ada", at=later(3), role="adviser", disabled=True)
    accounts.note("Bo", "login refused", later(4), ref="192.0.2.7")
    lines = [(line.who, line.what, line.ref, line.job_id) for line in accounts.audit()]
    assert lines == [
        ("Bo", "login refused", "192.0.2.7", None),
        ("Ada", "user changed: role, disabled", "Bo", None),
        ("Ada", "user added", "Bo", None),
        ("Ada", "job", "job-1", "job-1"),
        ("Ada", "user added", "Ada", None),
    ]
    first = accounts.audit(limit=2)
    assert accounts.audit(before=first[-1].number, limit=2) == accounts.audit()[2:4]
