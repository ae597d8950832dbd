"""Who is asking and what they may do: accounts, sessions, roles.

On loopback there are no accounts: whoever sits at the machine is 'bench' and may do everything. Beyond loopback every
request needs a session; a request that changes something also carries the session's token (``X-CSRF-Token``, or the
form field ``csrf``).
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import math
import secrets
import threading
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Final

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError
from fastapi import Request, Response
from starlette.exceptions import HTTPException

from halfsplit.errors import InputError, NotFoundError
from halfsplit.job import JobStore, Role, Session, User
from halfsplit.workbench.guard import COOKIE, SAFE_METHODS
from halfsplit.workbench.problems import SignInNeeded

SESSION_LASTS: Final = timedelta(hours=12)
OWNER_LINK_LASTS: Final = timedelta(hours=1)
TRIES: Final = {"device": 5, "name": 20, "address": 30}
"""Wrong guesses before the first wait: of one name from one address, of a name from anywhere, from an address."""
TRIES_WITHIN: Final = timedelta(hours=1)
FIRST_WAIT: Final = timedelta(seconds=30)
LONGEST_WAIT: Final = timedelta(minutes=15)
KNOWN_FOR: Final = timedelta(days=60)
"""How long an address is known as a person's own after signing in from there: others' guesses do not shut it out."""
SHORTEST_PASSWORD: Final = 10
LONGEST_PASSWORD: Final = 200
LONGEST_NAME: Final = 60

RIGHTS: Final[dict[str, frozenset[str]]] = {
    "viewer": frozenset({"read"}),
    "adviser": frozenset({"read", "intake", "money"}),
    "technician": frozenset({"read", "intake", "money", "measure"}),
    "owner": frozenset({"read", "intake", "money", "measure", "manage"}),
}
"""Role → rights: see jobs; take jobs in; time, parts and limits; measure, repair and close; accounts and settings."""

_HASHER = PasswordHasher()
_HASHING = threading.BoundedSemaphore(2)
"""Each hash takes 64 MB while it is made: many sign-ins at once wait for each other."""


@cache
def _nobody() -> str:
    """Checked against where there is no such user, so that an unknown name takes as long as a wrong password."""
    return _HASHER.hash(secrets.token_hex(16))


@dataclass(frozen=True)
class Person:
    """Whoever asks. ``csrf`` is empty where there are no accounts."""

    name: str
    role: Role
    csrf: str = ""

    def may(self, right: str) -> bool:
        return right in RIGHTS[self.role]


AT_THE_BENCH: Final = Person("bench", "owner")


def now() -> datetime:
    """The present moment, in UTC."""
    return datetime.now(UTC)


def hashed(token: str) -> str:
    """What is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()


@cache
def right(wanted: str) -> Callable[[Request], Awaitable[Person]]:
    """A dependency: the person, who has this right; templates know them too. 401 or 403 otherwise."""

    async def person(request: Request) -> Person:
        asking = request.state.person = await _person(request)
        if not asking.may(wanted):
            raise HTTPException(403, f"This needs another role than {asking.role}.")
        return asking

    return person


async def _person(request: Request) -> Person:
    if not request.app.state.accounts:
        return AT_THE_BENCH
    store: JobStore = request.app.state.store
    token = request.cookies.get(COOKIE, "")
    known_session = store.accounts.session(hashed(token), now()) if token else None
    if known_session is None:
        raise SignInNeeded
    session, user = known_session
    if request.method not in SAFE_METHODS:
        sent = request.headers.get("X-CSRF-Token", "")
        if not sent and "form" in request.headers.get("content-type", ""):
            sent = str((await request.form()).get("csrf", ""))
        if not hmac.compare_digest(sent.encode(), session.csrf_secret.encode()):
            raise HTTPException(403, "This page is out of date: load it again, nothing was changed.")
    return Person(user.name, user.role, session.csrf_secret)


def is_session(store: JobStore, token: str) -> bool:
    """Whether somebody has signed in with this token."""
    return store.accounts.session(hashed(token), now()) is not None


# Signing in


def checked_password(password: str) -> str:
    """The password's hash. Raises InputError where it is too short or too long."""
    if not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        raise InputError(
            f"a password has {SHORTEST_PASSWORD} to {LONGEST_PASSWORD} characters", where="password"
        )
    return _HASHER.hash(password)


def sign_in(store: JobStore, name: str, password: str, address: str) -> tuple[str, User] | None:
    """A new session's token and its user; None where name or password are wrong.

    Every try is counted before the password is looked at, so that tries that come at once are counted too. Raises
    HTTPException 429 with the seconds to wait where there were too many.
    """
    at, network = now(), network_of(address)
    folded = name.strip().casefold()[:LONGEST_NAME]
    device, others = f"device {folded} {network}", [f"name {folded}", f"address {network}"]
    counted = others[1:] if store.accounts.has_signed_in(name, address, at - KNOWN_FOR) else others
    left = store.accounts.count_try(
        [device, *counted],
        at,
        at - TRIES_WITHIN,
        lambda origin, tries, last: wait_for(origin, tries, last, at),
    )
    if left:
        seconds = math.ceil(left.total_seconds())
        raise HTTPException(
            429, f"Too many attempts: try again in {seconds} seconds.", {"Retry-After": str(seconds)}
        )
    with _HASHING:
        user = _verified(store, name, password)
    if user is None:
        store.accounts.note(name[:LONGEST_NAME] or "-", "sign-in refused", at, ref=address)
        return None
    store.accounts.forget_tries(device, counted, at)
    return _open_session(store, user, address), user


def wait_for(origin: str, tries: int, last: datetime | None, at: datetime) -> timedelta:
    """How long an origin waits after so many tries: not at all at first, then twice as long after each.

    >>> day = datetime(2026, 3, 2, tzinfo=UTC)
    >>> [wait_for("device ada 192.0.2.7", tries, day, day).seconds for tries in (4, 5, 6, 20)]
    [0, 30, 60, 900]
    """
    over = tries - TRIES[origin.partition(" ")[0]]
    if over < 0 or last is None:
        return timedelta()
    delay: timedelta = min(FIRST_WAIT * 2 ** min(over, 10), LONGEST_WAIT)
    return min(delay, max(timedelta(), last + delay - at))


def network_of(address: str) -> str:
    """What is counted as one address: with IPv6 the network of a household, since it has as many as it likes.

    >>> network_of("192.0.2.7"), network_of("2001:db8:1:2:3:4:5:6")
    ('192.0.2.7', '2001:db8:1:2::/64')
    """
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return address[:LONGEST_NAME]
    return str(ipaddress.ip_network((address, 64), strict=False)) if known.version == 6 else address


def _verified(store: JobStore, name: str, password: str) -> User | None:
    try:
        user = store.accounts.user(name)
    except NotFoundError:
        user = None
    nobody = _nobody()  # made at anybody's first sign-in, so that its time tells nothing of the name
    try:
        _HASHER.verify(user.password_hash if user else nobody, password[: LONGEST_PASSWORD + 1])
    except (VerificationError, InvalidHashError):
        return None
    return None if user is None or user.disabled else user


def _open_session(store: JobStore, user: User, address: str) -> str:
    token, at = secrets.token_urlsafe(32), now()
    store.accounts.tidy(at)
    store.accounts.open_session(
        Session(
            token_hash=hashed(token),
            user=user.name,
            csrf_secret=secrets.token_urlsafe(32),
            created_at=at,
            expires_at=at + SESSION_LASTS,
        ),
        address=address,
    )
    return token


def set_session(response: Response, token: str, *, secure: bool) -> None:
    """Give the session's cookie to the browser: not for scripts, not for other sites."""
    response.set_cookie(
        COOKIE,
        token,
        max_age=int(SESSION_LASTS.total_seconds()),
        httponly=True,
        secure=secure,
        samesite="strict",
    )


def new_owner_link(store: JobStore, address: str) -> str:
    """A link that makes the first owner, once, within the hour; an earlier one no longer works."""
    token = secrets.token_urlsafe(32)
    store.accounts.keep_owner_link(hashed(token), now() + OWNER_LINK_LASTS)
    return f"{address}/owner/{token}"
