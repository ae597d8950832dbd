"""Databases of every release open in this one; those of a later release do not."""

import gzip
import shutil
import sqlite3
from pathlib import Path

import pytest
from alembic import op
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text

from halfsplit.store import AppendOnlyError, JobStore, TooNewError, migrations, struck_ids
from halfsplit.store.tables import KEPT, metadata
from tests.store.conftest import BACKENDS
from tests.store.samples import JPEG, NOW, fill, reading

SAVED = Path(__file__).parent / "saved"
"""Databases (and their attachments) as each release wrote them with `samples.fill`; see saved/README.md."""


@pytest.fixture(params=sorted(SAVED.glob("*.db.gz")), ids=lambda path: path.name.removesuffix(".db.gz"))
def saved(request, tmp_path) -> Path:
    """A copy of a database that a release saved, with the attachments' folder beside it."""
    database = tmp_path / "jobs.db"
    database.write_bytes(gzip.decompress(request.param.read_bytes()))
    shutil.copytree(request.param.with_name("files"), tmp_path / "jobs.files")
    return database


def test_a_saved_database_opens_with_everything_in_it(saved):
    with JobStore(f"sqlite:///{saved}") as store:
        job = store.job("job-1")
        assert (job.number, job.state, job.intake.complaint.text) == (1, "closed", "It stops, and hums")
        assert job.closing.cause == "X31.4 spread"
        entries = store.evidence("job-1")
        assert [entry.entry_id for entry in entries] == ["entry-1", "entry-2", "entry-3"]
        assert (entries[0].payload["value"], entries[0].attachments) == (0.02, ("photo-2", "photo-1"))
        assert struck_ids(entries) == {"entry-2"}
        with store.open_attachment("job-1", "photo-1") as file:
            assert file.read() == JPEG
        assert store.check() == ()


def test_a_saved_database_goes_on_taking_entries_and_keeping_them(saved):
    with JobStore(f"sqlite:///{saved}") as store:
        before = store.job("job-1").last_change
        assert store.record("job-1", reading("entry-4")).sequence == before + 1
        for table in KEPT:
            with pytest.raises(AppendOnlyError), store._database.writing() as connection:
                connection.execute(text(f"DELETE FROM {table}"))


def test_the_first_release_is_among_the_saved():
    assert min(path.name for path in SAVED.glob("*.db.gz")) == "schema-0001.db.gz"


@pytest.mark.parametrize("backend", BACKENDS)
def test_migrations_lead_to_the_tables_that_the_code_uses(backend, request, tmp_path):
    url = f"sqlite:///{tmp_path}/new.db"
    if backend == "postgresql":
        server = request.getfixturevalue("postgresql")
        url = server.url(server.new_database())
    with JobStore(url, files=tmp_path) as store, store._database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_migrations_check_the_same_words_as_the_tables(tmp_path):
    """Alembic does not compare CHECK constraints."""
    JobStore(f"sqlite:///{tmp_path}/jobs.db").close()
    migrated, direct = create_engine(f"sqlite:///{tmp_path}/jobs.db"), create_engine("sqlite://")
    metadata.create_all(direct)
    for table in metadata.tables:
        checks = [
            sorted(
                (check["name"], check["sqltext"]) for check in inspect(engine).get_check_constraints(table)
            )
            for engine in (migrated, direct)
        ]
        assert checks[0] == checks[1], table
    migrated.dispose()
    direct.dispose()


def test_the_list_of_revisions_is_that_of_the_files():
    config = Config()
    config.set_main_option("script_location", str(Path(migrations.__file__).parent))
    script = ScriptDirectory.from_config(config)
    assert [revision.revision for revision in script.walk_revisions()][::-1] == list(migrations.REVISIONS)


@pytest.mark.parametrize("backend", BACKENDS)
def test_a_later_release_s_database_is_refused_and_left_alone(new_url, backend, tmp_path):
    url = new_url(backend)
    with JobStore(url, files=tmp_path) as store:
        fill(store)
        with store._database.writing() as connection:
            connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(TooNewError, match=r"schema 9999; this program knows up to 0005.*Nothing was changed"):
        JobStore(url, files=tmp_path)


def test_a_migration_that_fails_leaves_nothing_half_done(tmp_path, monkeypatch):
    made = []

    def fail_at_the_tenth(name, *columns, **options):
        made.append(name)
        if len(made) == 10:
            raise OSError(28, "No space left on device")
        return create_table(name, *columns, **options)

    create_table = op.create_table
    monkeypatch.setattr(op, "create_table", fail_at_the_tenth)
    with pytest.raises(Exception, match="full"):
        JobStore(f"sqlite:///{tmp_path}/jobs.db")
    assert len(made) == 10
    connection = sqlite3.connect(tmp_path / "jobs.db")
    assert connection.execute("SELECT count(*) FROM sqlite_master").fetchone() == (0,)
    monkeypatch.setattr(op, "create_table", create_table)
    with JobStore(f"sqlite:///{tmp_path}/jobs.db") as store:
        fill(store)
        assert store.job("job-1").opened_at == NOW
