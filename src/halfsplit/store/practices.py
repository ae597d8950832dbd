"""Exercises of practice: what is hidden, what was done so far, how it ended. They belong to a person, to no job."""

from dataclasses import replace

from sqlalchemy import insert, select, update

from halfsplit.errors import NotFoundError
from halfsplit.store.database import Database
from halfsplit.store.failures import EditConflictError
from halfsplit.store.records import Practice
from halfsplit.store.rows import checked, from_row, to_row
from halfsplit.store.tables import practices
from halfsplit.store.writing import row_of

_LONG = ("circuit", "record")


class Practices:
    """The exercises of everybody. One that is there is only changed by who has seen its last version."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def begin(self, practice: Practice) -> Practice:
        """Keep a new exercise; one with this id that is there already is left as it is and given back."""
        with self._database.writing() as connection:
            row = row_of(connection, practices, practice_id=practice.practice_id)
            if row is not None:
                return from_row(Practice, row)
            connection.execute(insert(practices).values(checked(practices, to_row(practice))))
        return practice

    def get(self, practice_id: str) -> Practice:
        """One exercise.

        Raises:
            NotFoundError: there is none.
        """
        with self._database.reading() as connection:
            row = row_of(connection, practices, practice_id=practice_id)
        if row is None:
            raise NotFoundError("there is no such exercise")
        return from_row(Practice, row)

    def save(self, practice: Practice) -> Practice:
        """Replace an exercise by a later state of it; its version counts up by one.

        Raises:
            EditConflictError: another page or program has saved it since it was read.
        """
        saved = replace(practice, version=practice.version + 1)
        here = practices.c
        where = (here.practice_id == practice.practice_id, here.version == practice.version)
        with self._database.writing() as connection:
            done = connection.execute(
                update(practices).where(*where).values(checked(practices, to_row(saved)))
            )
            if done.rowcount != 1:
                raise EditConflictError(
                    "this exercise went on somewhere else in the meantime: load it again; nothing was changed"
                )
        return saved

    def of(self, person: str, *, limit: int = 200) -> tuple[Practice, ...]:
        """A person's exercises (everybody's for ''), the latest first, without circuit and record."""
        short = [column for column in practices.c if column.name not in _LONG]
        statement = select(*short).order_by(practices.c.begun_at.desc()).limit(limit)
        if person:
            statement = statement.where(practices.c.person == person)
        with self._database.reading() as connection:
            rows = connection.execute(statement).mappings().all()
        return tuple(from_row(Practice, row) for row in rows)
