"""The schema's history, brought up to date when a database is opened.

Every release reads every older database. A database of a later release is refused, since writing to it could
lose what this release does not know of. Migrations stand by themselves: they never import `tables.py`, which
moves on.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, inspect, text

from halfsplit.store.failures import TooNewError

if TYPE_CHECKING:
    from halfsplit.store.database import Database

# Oldest first; the last one is this release's. A test compares the list with the files in versions/.
REVISIONS = ("0001", "0002", "0003", "0004", "0005")

_LOCK = 0x68616C66  # an arbitrary number of our own for PostgreSQL's advisory lock


def bring_up_to_date(database: Database) -> None:
    """Migrate to this release's schema, in one transaction, after another program that does the same.

    Raises:
        TooNewError: the database was written by a later release.
    """
    with database.reading() as connection:
        if _revision(connection) == REVISIONS[-1]:
            return
    with database.writing() as connection:
        if not database.is_sqlite:
            connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK})
        if _revision(connection) != REVISIONS[-1]:
            _upgrade(connection)


def _revision(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    revision = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    if revision is not None and revision not in REVISIONS:
        raise TooNewError(
            f"This job store was written by a later release of Halfsplit (schema {revision}; "
            f"this program knows up to {REVISIONS[-1]}). "
            "Nothing was changed. Install the later release on this machine."
        )
    return revision


def _upgrade(connection: Connection) -> None:
    from alembic import command  # half of what opening a store takes, and needed once a release
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent))
    config.attributes["connection"] = connection
    command.upgrade(config, REVISIONS[-1])
