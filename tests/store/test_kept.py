"""What is kept for good is kept from raw SQL too, in every program that opens the database."""

import sqlite3
from contextlib import closing

import pytest
from sqlalchemy import text

from halfsplit.errors import StorageError
from halfsplit.store import AppendOnlyError
from halfsplit.store.tables import KEPT, metadata
from tests.store.samples import NOW, fill

TABLES = sorted(KEPT)


@pytest.fixture
def full_store(store):
    fill(store)
    return store


@pytest.mark.parametrize("statement", ["UPDATE {0} SET {1} = {1}", "DELETE FROM {0}"])
def test_no_statement_changes_or_deletes(full_store, statement):
    before = full_store.whole_job("job-1")
    for table in TABLES:
        command = text(statement.format(table, next(iter(metadata.tables[table].columns)).name))
        with (
            pytest.raises(AppendOnlyError, match=r"kept for good.*Strike it out"),
            _writing(full_store) as connection,
        ):
            connection.execute(command)
    assert full_store.whole_job("job-1") == before


def _writing(store):
    return store._database.writing()


def test_every_table_that_should_be_kept_had_a_row_above(full_store):
    with full_store._database.reading() as connection:
        for table in TABLES:
            assert connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one() > 0


@pytest.mark.requires("postgresql")
@pytest.mark.parametrize("store", ["postgresql"], indirect=True)
def test_postgresql_does_not_truncate(full_store):
    for table in TABLES:
        with pytest.raises(AppendOnlyError), _writing(full_store) as connection:
            connection.execute(text(f"TRUNCATE {table} CASCADE"))


@pytest.mark.requires("postgresql")
@pytest.mark.parametrize("store", ["postgresql"], indirect=True)
def test_postgresql_does_not_overwrite_on_conflict(full_store):
    statement = (
        "INSERT INTO evidence SELECT * FROM evidence ON CONFLICT (job_id, entry_id) DO UPDATE SET kind = 'x'"
    )
    with pytest.raises(AppendOnlyError), _writing(full_store) as connection:
        connection.execute(text(statement))


@pytest.mark.parametrize("command", ["INSERT OR REPLACE", "REPLACE", "INSERT OR IGNORE"])
def test_sqlite_does_not_replace(sqlite_store, sqlite_file, command):
    """By a plain connection without our settings: REPLACE deletes rows without firing a delete trigger."""
    fill(sqlite_store)
    with closing(sqlite3.connect(sqlite_file)) as connection:
        for table in TABLES:
            before = connection.execute(f"SELECT * FROM {table}").fetchall()
            with pytest.raises(sqlite3.IntegrityError, match=f"{table} is kept for good"):
                connection.execute(f"{command} INTO {table} SELECT * FROM {table}")
            connection.rollback()
            assert connection.execute(f"SELECT * FROM {table}").fetchall() == before


def test_sqlite_does_not_replace_by_the_other_key(sqlite_store, sqlite_file):
    """A new id with the sequence number of an entry that is there would push that entry out."""
    fill(sqlite_store)
    columns = [column.name for column in metadata.tables["evidence"].columns if column.name != "entry_id"]
    listed = ", ".join(columns)
    statement = f"REPLACE INTO evidence (entry_id, {listed}) SELECT 'forged', {listed} FROM evidence LIMIT 1"
    with (
        closing(sqlite3.connect(sqlite_file)) as connection,
        pytest.raises(sqlite3.IntegrityError, match="evidence is kept for good"),
    ):
        connection.execute(statement)


def test_sqlite_keeps_no_hidden_row_numbers(sqlite_file):
    """`REPLACE INTO evidence (rowid, …)` would be a third way round; the audit's row number is its key."""
    with closing(sqlite3.connect(sqlite_file)) as connection:
        for table in set(TABLES) - {"audit"}:
            with pytest.raises(sqlite3.OperationalError, match="no such column: rowid"):
                connection.execute(f"SELECT rowid FROM {table}")


def test_a_job_with_evidence_cannot_be_deleted(full_store):
    with pytest.raises(StorageError, match="refused"), _writing(full_store) as connection:
        connection.execute(text("DELETE FROM jobs"))
    assert full_store.job("job-1").opened_at == NOW
