"""Time and money of a job: steps with minutes, parts, authorised limits.

Nothing is deleted: a step or a part that should not count is saved again as withdrawn. Authorisations are
kept for good.
"""

from dataclasses import replace
from datetime import datetime
from typing import TypeVar

from sqlalchemy import update

from halfsplit.store.failures import EntryConflictError
from halfsplit.store.records import Authorisation, PartUsed, Step
from halfsplit.store.rows import checked, from_row, to_row
from halfsplit.store.tables import authorisations, parts, steps
from halfsplit.store.writing import JobWriter

Line = TypeVar("Line", Step, PartUsed)

# Record -> its table, the name of its id, and what the change feed calls it.
_LINES = {Step: (steps, "step_id", "step"), PartUsed: (parts, "part_id", "part")}


def save_line(job: JobWriter, line: Line, who: str, at: datetime) -> Line:
    """Insert a step or a part, or replace the one with its id; it keeps its place in the list."""
    table, key, what = _LINES[type(line)]
    key_value = getattr(line, key)
    row = job.find(table, **{key: key_value})
    if row is None:
        saved = replace(line, sequence=job.note(what, key_value, who, at))
        job.add(table, saved)
        return saved
    saved = replace(line, sequence=row["sequence"])
    if from_row(type(line), row) != saved:
        job.note(what, key_value, who, at)
        where = (table.c.job_id == job.job_id, table.c[key] == key_value)
        job.connection.execute(update(table).where(*where).values(checked(table, to_row(saved))))
    return saved


def authorise(job: JobWriter, authorisation: Authorisation) -> Authorisation:
    """Append an authorised limit; a repeat is stored once.

    Raises:
        EntryConflictError: the id is stored with another amount or by somebody else.
    """
    name = authorisation.authorisation_id
    row = job.find(authorisations, authorisation_id=name)
    if row is None:
        saved = replace(
            authorisation, sequence=job.note("authorisation", name, authorisation.who, authorisation.at)
        )
        job.add(authorisations, saved)
        return saved
    stored = from_row(Authorisation, row)
    said = ("amount", "currency", "by_whom", "how")
    if any(getattr(stored, field) != getattr(authorisation, field) for field in said):
        raise EntryConflictError(
            f"authorisation {name} is stored already with different content: it was not changed. "
            "Enter the new one under an id of its own."
        )
    return stored
