"""Time and money of a job: steps with minutes, parts, authorised limits; and results as they were shown.

Nothing is deleted: a step or a part that should not count is saved again as withdrawn. Authorisations are
kept for good.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import TypeVar

from sqlalchemy import func, select, tuple_, update

from halfsplit.store.failures import EntryConflictError
from halfsplit.store.records import Authorisation, PartUsed, ShownResult, Step
from halfsplit.store.rows import checked, from_row, to_row
from halfsplit.store.tables import authorisations, parts, shown_results, steps
from halfsplit.store.writing import Kept

Line = TypeVar("Line", Step, PartUsed)

# Record -> its table, the name of its id, and what the change feed calls it.
_LINES = {Step: (steps, "step_id", "step"), PartUsed: (parts, "part_id", "part")}


class Costs(Kept):
    """Steps, parts, limits, and what somebody was shown."""

    def steps(self, job_id: str) -> tuple[Step, ...]:
        """The steps, withdrawn ones too, in the order in which they were first saved."""
        return self._list(Step, steps, job_id, "sequence")

    def parts(self, job_id: str) -> tuple[PartUsed, ...]:
        """The parts, withdrawn ones too, in the order in which they were first saved."""
        return self._list(PartUsed, parts, job_id, "sequence")

    def save_line(self, job_id: str, line: Line, *, who: str, at: datetime) -> Line:
        """Add a step or a part, or replace the one with its id, which keeps its place in the list."""
        table, key, what = _LINES[type(line)]
        with self._writing_job(job_id) as job:
            row = job.find(table, **{key: getattr(line, key)})
            if row is not None and from_row(type(line), row) == replace(line, sequence=row["sequence"]):
                return from_row(type(line), row)
            noted = job.note(what, getattr(line, key), who, at)
            saved = replace(line, sequence=noted if row is None else row["sequence"])
            if row is None:
                job.add(table, saved)
            else:
                where = (table.c.job_id == job_id, table.c[key] == getattr(line, key))
                job.connection.execute(update(table).where(*where).values(checked(table, to_row(saved))))
            return saved

    def authorise(self, job_id: str, authorisation: Authorisation) -> Authorisation:
        """Keep a limit that the customer authorised. A repeat is stored once.

        Raises:
            EntryConflictError: the id is stored with another amount or by somebody else.
        """
        name = authorisation.authorisation_id
        with self._writing_job(job_id) as job:
            row = job.find(authorisations, authorisation_id=name)
            if row is None:
                sequence = job.note("authorisation", name, authorisation.who, authorisation.at)
                saved = replace(authorisation, sequence=sequence)
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

    def authorisations(self, job_id: str) -> tuple[Authorisation, ...]:
        """The authorised limits, oldest first; the last one holds."""
        return self._list(Authorisation, authorisations, job_id, "sequence")

    # Results as they were shown

    def keep_shown(self, job_id: str, shown: ShownResult) -> ShownResult:
        """Keep what a page, a command or a report said, with the engine's version."""
        with self._writing_job(job_id) as job:
            kept = replace(shown, sequence=job.note("shown", shown.what, shown.who, shown.at))
            job.add(shown_results, kept)
            return kept

    def shown(self, job_id: str, what: str | None = None) -> tuple[ShownResult, ...]:
        """What was shown, of one sort or of all, oldest first."""
        results = self._list(ShownResult, shown_results, job_id, "sequence")
        return tuple(result for result in results if what is None or result.what == what)

    def latest_shown(self, job_ids: Sequence[str], what: str) -> dict[str, ShownResult]:
        """Job id -> the last thing of one sort that was shown of it, for those of the jobs that have one."""
        here = shown_results
        where = (here.c.job_id.in_(job_ids), here.c.what == what)
        last = select(here.c.job_id, func.max(here.c.sequence)).where(*where).group_by(here.c.job_id)
        statement = select(here).where(tuple_(here.c.job_id, here.c.sequence).in_(last))
        with self._database.reading() as connection:
            rows = connection.execute(statement).mappings()
            return {row["job_id"]: from_row(ShownResult, row) for row in rows}
