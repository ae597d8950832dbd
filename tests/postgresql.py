"""A PostgreSQL of our own for tests: one server for a whole run, a database for each test."""

import os
import shutil
import subprocess
from itertools import count
from pathlib import Path

from sqlalchemy import create_engine, text

from halfsplit.store.migrations import REVISIONS
from halfsplit.store.tables import metadata

_numbers = count(1)


class PostgreSQL:
    """A server on a unix socket, in a folder of its own. PostgreSQL refuses to run as root."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.free: list[str] = []
        self.programs = max(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name))

    def run(self, program: str, *arguments: str) -> None:
        command = [str(self.programs / program), *arguments]
        if os.geteuid() == 0:
            command = ["runuser", "-u", "postgres", "--", *command]
        done = subprocess.run(command, capture_output=True, text=True, cwd="/", check=False)
        assert done.returncode == 0, done.stdout + done.stderr

    def start(self) -> None:
        data = str(self.folder / "data")
        if os.geteuid() == 0:
            shutil.chown(self.folder, "postgres")
        self.run("initdb", "--no-sync", "-A", "trust", "-U", "halfsplit", "-E", "UTF8", "-D", data)
        self.restart()

    def restart(self) -> None:
        options = f"-k {self.folder} -c listen_addresses='' -c fsync=off -c max_connections=40"
        arguments = ["-D", str(self.folder / "data"), "-w", "-o", options, "-l", str(self.folder / "log")]
        self.run("pg_ctl", *arguments, "start")

    def stop(self) -> None:
        self.run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "-w", "stop")

    def new_database(self, template: str = "template0") -> str:
        name = f"job{next(_numbers)}"
        self.run("createdb", "-h", str(self.folder), "-U", "halfsplit", "-T", template, name)
        return name

    def empty(self, database: str) -> None:
        """What no program may do, a superuser can: switch the triggers off for his own session."""
        engine = create_engine(self.url(database).replace("postgresql:", "postgresql+psycopg:"))
        with engine.begin() as connection:
            connection.execute(text("SET LOCAL session_replication_role = replica"))
            connection.execute(text(f"TRUNCATE {', '.join(metadata.tables)} RESTART IDENTITY"))
            connection.execute(text("INSERT INTO workshop VALUES (1, '', '', '', '', NULL, 0)"))
            connection.execute(text(f"UPDATE alembic_version SET version_num = '{REVISIONS[-1]}'"))
        engine.dispose()

    def url(self, database: str) -> str:
        return f"postgresql://halfsplit@/{database}?host={self.folder}"
