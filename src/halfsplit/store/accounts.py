"""Accounts: users, sessions, tries to sign in, the one-time link for the first owner, and the audit list.

The store keeps hashes as they are given and compares names without regard to case. It decides nothing about
passwords or roles but one thing: there is always an owner who can sign in, once there has been one.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from sqlalchemy import Connection, RowMapping, delete, func, insert, select, text, update

from halfsplit.errors import ConflictError, InputError, NotFoundError
from halfsplit.store.database import Database
from halfsplit.store.records import AuditEntry, Role, Session, User
from halfsplit.store.rows import checked, from_row, to_row
from halfsplit.store.tables import audit, failed_logins, owner_links, sessions, users
from halfsplit.store.writing import note_audit, row_of

_FORGET_AFTER = timedelta(days=1)
_SIGNED_IN = "signed in"
_LOCK = 0x68616C67  # an arbitrary number of our own for PostgreSQL's advisory lock

Wait = Callable[[str, int, datetime | None], timedelta]
"""Origin, its tries so far, when the last one was -> how long it has to wait before the next; zero for not at all."""


class Accounts:
    """Who may do what, and who did what."""

    def __init__(self, database: Database) -> None:
        self._database = database

    # Users

    def add_user(self, user: User, *, who: str, at: datetime) -> User:
        """Add a user.

        Raises:
            ConflictError: the name is taken, in whatever case.
        """
        with self._database.writing() as connection:
            _add_user(connection, user)
            note_audit(connection, who, "user added", at, ref=user.name)
        return user

    def user(self, name: str) -> User:
        """One user, by name in whatever case.

        Raises:
            NotFoundError: there is none.
        """
        with self._database.reading() as connection:
            return from_row(User, _user_row(connection, name))

    def users(self) -> tuple[User, ...]:
        """All users, disabled ones too, by name."""
        with self._database.reading() as connection:
            rows = connection.execute(select(users).order_by(users.c.folded_name)).mappings()
            return tuple(from_row(User, row) for row in rows)

    def change_user(
        self,
        name: str,
        *,
        who: str,
        at: datetime,
        password_hash: str | None = None,
        role: Role | None = None,
        disabled: bool | None = None,
    ) -> User:
        """Change what is given, and sign the user out everywhere.

        Raises:
            NotFoundError: there is no such user.
            ConflictError: nobody would be left who could sign in as owner.
        """
        given = {"password_hash": password_hash, "role": role, "disabled": disabled}
        changes = {field: value for field, value in given.items() if value is not None}
        with self._database.writing() as connection:
            row = _user_row(connection, name)
            where = users.c.folded_name == row["folded_name"]
            connection.execute(update(users).where(where).values(checked(users, dict(row) | changes)))
            if _owners(connection) == 0:
                raise ConflictError(
                    "nobody would be left who can sign in as owner: make somebody else an owner first"
                )
            connection.execute(delete(sessions).where(sessions.c.folded_name == row["folded_name"]))
            note_audit(
                connection, who, f"user changed: {', '.join(changes).replace('_', ' ')}", at, ref=row["name"]
            )
            return from_row(User, dict(row) | changes)

    # Sessions

    def open_session(self, session: Session, *, address: str = "") -> None:
        """Keep a session until it expires; `address`: where the browser is, for the audit list."""
        with self._database.writing() as connection:
            row = to_row(session) | {"folded_name": _user_row(connection, session.user)["folded_name"]}
            connection.execute(insert(sessions).values(checked(sessions, row)))
            note_audit(connection, session.user, _SIGNED_IN, session.created_at, ref=address)

    def session(self, token_hash: str, at: datetime) -> tuple[Session, User] | None:
        """The session and its user; None if it is unknown or expired, or the user disabled."""
        statement = (
            select(sessions, users.c.name.label("user"))
            .join(users)
            .where(sessions.c.token_hash == token_hash, sessions.c.expires_at > at, ~users.c.disabled)
        )
        with self._database.reading() as connection:
            row = connection.execute(statement).mappings().one_or_none()
            if row is None:
                return None
            return from_row(Session, row), from_row(User, _user_row(connection, row["user"]))

    def close_session(self, token_hash: str) -> None:
        """Sign out; a session that is not there is passed over."""
        with self._database.writing() as connection:
            connection.execute(delete(sessions).where(sessions.c.token_hash == token_hash))

    # Tries to sign in

    def count_try(self, origins: Sequence[str], at: datetime, since: datetime, wait: Wait) -> timedelta:
        """Count one try of every origin, before anything is checked; zero where it was counted.

        Where an origin has to wait, nothing is counted and the longest wait is returned. Tries that come at once are
        taken one after the other, whichever server they come to: no two of them see the same count. Where the clock was
        put back, tries that lie ahead are taken as made just now: who waits since then waits no longer than he is told.
        """
        here = failed_logins.c
        with self._database.writing() as connection:
            if not self._database.is_sqlite:
                connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK})
            just_now = at - timedelta(microseconds=1)  # not `at` itself, by which a success finds its own try
            connection.execute(update(failed_logins).where(here.at > at).values(at=just_now))
            waits = []
            for origin in origins:
                counted = select(func.count(), func.max(here.at)).where(
                    here.origin == origin, here.at >= since
                )
                tries, last = connection.execute(counted).one()
                waits.append(wait(origin, tries, last))
            longest = max(waits, default=timedelta())
            if longest <= timedelta():
                rows = [checked(failed_logins, {"origin": origin, "at": at}) for origin in origins]
                connection.execute(insert(failed_logins), rows)
            return max(longest, timedelta())

    def forget_tries(self, own: str, others: Sequence[str], at: datetime) -> None:
        """After a success: start the count of the origin `own` again, and take the try of `at` off the others."""
        here = failed_logins.c
        with self._database.writing() as connection:
            connection.execute(delete(failed_logins).where(here.origin == own))
            connection.execute(delete(failed_logins).where(here.origin.in_(others), here.at == at))

    def has_signed_in(self, name: str, address: str, since: datetime) -> bool:
        """Whether the user of this name has signed in from this address since then."""
        here = audit.c
        with self._database.reading() as connection:
            known = select(users.c.name).where(users.c.folded_name == name.strip().casefold())
            where = (here.what == _SIGNED_IN, here.ref == address, here.at >= since, here.who.in_(known))
            return connection.execute(select(here.number).where(*where).limit(1)).first() is not None

    def tidy(self, at: datetime) -> None:
        """Drop expired sessions and links, and tries older than a day."""
        with self._database.writing() as connection:
            connection.execute(delete(sessions).where(sessions.c.expires_at <= at))
            connection.execute(delete(owner_links).where(owner_links.c.expires_at <= at))
            connection.execute(delete(failed_logins).where(failed_logins.c.at < at - _FORGET_AFTER))

    # The first owner

    def needs_owner(self) -> bool:
        """Whether there is no owner yet who can sign in."""
        with self._database.reading() as connection:
            return _owners(connection) == 0

    def keep_owner_link(self, token_hash: str, expires_at: datetime) -> None:
        """Keep the one link that makes the first owner; an earlier one no longer works."""
        with self._database.writing() as connection:
            connection.execute(delete(owner_links))
            row = {"token_hash": token_hash, "expires_at": expires_at, "used_at": None}
            connection.execute(insert(owner_links).values(checked(owner_links, row)))

    def owner_link_holds(self, token_hash: str, at: datetime) -> bool:
        """Whether the link could be used now."""
        with self._database.reading() as connection:
            link = owner_links.c
            where = (link.token_hash == token_hash, link.used_at.is_(None), link.expires_at > at)
            return connection.execute(select(link.token_hash).where(*where)).first() is not None

    def redeem_owner_link(self, token_hash: str, user: User, *, at: datetime) -> User:
        """Use the link, once, to add the first owner.

        Raises:
            ConflictError: the link is unknown, used or expired, or there is an owner already.
        """
        owner = replace(user, role="owner", disabled=False)
        with self._database.writing() as connection:
            link = owner_links.c.token_hash == token_hash
            used = update(owner_links).where(
                link, owner_links.c.used_at.is_(None), owner_links.c.expires_at > at
            )
            if connection.execute(used.values(used_at=at)).rowcount != 1 or _owners(connection) > 0:
                raise ConflictError(
                    "this link has been used or has expired: start the workbench again for a new one"
                )
            _add_user(connection, owner)
            note_audit(connection, owner.name, "first owner added", at, ref=owner.name)
        return owner

    # Audit

    def note(self, who: str, what: str, at: datetime, *, ref: str = "") -> None:
        """Write down something that is no change of a job: a report made, an export, a refused login."""
        with self._database.writing() as connection:
            note_audit(connection, who, what, at, ref=ref)

    def audit(self, *, before: int | None = None, limit: int = 100) -> tuple[AuditEntry, ...]:
        """The latest entries, newest first; `before` is the number of the last one seen."""
        statement = select(audit).order_by(audit.c.number.desc()).limit(limit)
        if before is not None:
            statement = statement.where(audit.c.number < before)
        with self._database.reading() as connection:
            return tuple(from_row(AuditEntry, row) for row in connection.execute(statement).mappings())


def _add_user(connection: Connection, user: User) -> None:
    folded = user.name.strip().casefold()
    if not folded:
        raise InputError("a user needs a name")
    if row_of(connection, users, folded_name=folded):
        raise ConflictError(f"there is a user {user.name!r} already: choose another name")
    connection.execute(insert(users).values(checked(users, to_row(user) | {"folded_name": folded})))


def _user_row(connection: Connection, name: str) -> RowMapping:
    row = row_of(connection, users, folded_name=name.strip().casefold())
    if row is None:
        raise NotFoundError(f"there is no user {name!r}")
    return row


def _owners(connection: Connection) -> int:
    where = (users.c.role == "owner", ~users.c.disabled)
    return connection.execute(select(func.count()).where(*where)).scalar_one()
