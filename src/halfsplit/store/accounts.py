"""Accounts: users, sessions, failed logins, the one-time link for the first owner, and the audit list.

The store keeps hashes as they are given and compares names without regard to case. It decides nothing about
passwords or roles but one thing: there is always an owner who can sign in, once there has been one.
"""

from dataclasses import replace
from datetime import datetime, timedelta

from sqlalchemy import Connection, RowMapping, delete, func, insert, select, update

from halfsplit.errors import ConflictError, InputError, NotFoundError
from halfsplit.store.database import Database
from halfsplit.store.records import AuditEntry, Role, Session, User
from halfsplit.store.rows import checked, from_row, to_row
from halfsplit.store.tables import audit, failed_logins, owner_links, sessions, users
from halfsplit.store.writing import note_audit

_FORGET_AFTER = timedelta(days=1)


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
            _keep_an_owner(connection)
            connection.execute(delete(sessions).where(sessions.c.folded_name == row["folded_name"]))
            note_audit(
                connection, who, f"user changed: {', '.join(changes).replace('_', ' ')}", at, ref=row["name"]
            )
            return from_row(User, dict(row) | changes)

    # Sessions

    def open_session(self, session: Session) -> None:
        """Keep a session until it expires."""
        with self._database.writing() as connection:
            row = to_row(session) | {"folded_name": _user_row(connection, session.user)["folded_name"]}
            connection.execute(insert(sessions).values(checked(sessions, row)))
            note_audit(connection, session.user, "signed in", session.created_at)

    def session(self, token_hash: str, at: datetime) -> tuple[Session, User] | None:
        """The session and its user; None if it is unknown or expired, or the user disabled."""
        statement = (
            select(sessions, users.c.name.label("user"))
            .join(users)
            .where(sessions.c.token_hash == token_hash, sessions.c.expires_at > at, ~users.c.disabled)
        )
        with self._database.reading() as connection:
            row = connection.execute(statement).mappings().one_or_none()
            return (
                None
                if row is None
                else (from_row(Session, row), from_row(User, _user_row(connection, row["user"])))
            )

    def close_session(self, token_hash: str) -> None:
        """Sign out; a session that is not there is passed over."""
        with self._database.writing() as connection:
            connection.execute(delete(sessions).where(sessions.c.token_hash == token_hash))

    # Failed logins

    def note_failed_login(self, origin: str, at: datetime) -> None:
        """Count one failure of `origin`: a name, an address, or both, as the caller throttles."""
        with self._database.writing() as connection:
            connection.execute(
                insert(failed_logins).values(checked(failed_logins, {"origin": origin, "at": at}))
            )

    def failed_logins(self, origin: str, since: datetime) -> int:
        """How many failures of this origin there were from `since` on."""
        where = (failed_logins.c.origin == origin, failed_logins.c.at >= since)
        with self._database.reading() as connection:
            return connection.execute(select(func.count()).where(*where)).scalar_one()

    def forget_failed_logins(self, origin: str) -> None:
        """Start this origin's count again, after a success."""
        with self._database.writing() as connection:
            connection.execute(delete(failed_logins).where(failed_logins.c.origin == origin))

    def tidy(self, at: datetime) -> None:
        """Drop expired sessions and links, and failures older than a day."""
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
            return _link_holds(connection, token_hash, at)

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
    if connection.execute(select(users.c.name).where(users.c.folded_name == folded)).first():
        raise ConflictError(f"there is a user {user.name!r} already: choose another name")
    connection.execute(insert(users).values(checked(users, to_row(user) | {"folded_name": folded})))


def _user_row(connection: Connection, name: str) -> RowMapping:
    statement = select(users).where(users.c.folded_name == name.strip().casefold())
    row = connection.execute(statement).mappings().one_or_none()
    if row is None:
        raise NotFoundError(f"there is no user {name!r}")
    return row


def _owners(connection: Connection) -> int:
    where = (users.c.role == "owner", ~users.c.disabled)
    return connection.execute(select(func.count()).where(*where)).scalar_one()


def _keep_an_owner(connection: Connection) -> None:
    if _owners(connection) == 0:
        raise ConflictError(
            "nobody would be left who can sign in as owner: make somebody else an owner first"
        )


def _link_holds(connection: Connection, token_hash: str, at: datetime) -> bool:
    link = owner_links.c
    where = (link.token_hash == token_hash, link.used_at.is_(None), link.expires_at > at)
    return connection.execute(select(link.token_hash).where(*where)).first() is not None
