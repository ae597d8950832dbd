"""Closed jobs, a page at a time, with what each taught where that is known already."""

from collections.abc import Iterable
from typing import Any

from sqlalchemy import Connection, and_, delete, insert, select

from halfsplit.store.records import ClosedJob, Intake
from halfsplit.store.rows import checked, from_row
from halfsplit.store.tables import circuits, intakes, jobs, lessons


def closed_jobs(
    connection: Connection, number: int, limit: int, engine_version: str
) -> tuple[ClosedJob, ...]:
    """The closed jobs with a circuit after a number, by number, which no job changes."""
    here = jobs.c
    of_intake = and_(intakes.c.job_id == here.job_id, intakes.c.version == here.intake_version)
    of_circuit = and_(circuits.c.job_id == here.job_id, circuits.c.version == here.circuit_version)
    known = and_(
        lessons.c.job_id == here.job_id,
        lessons.c.after == here.last_change,
        lessons.c.engine_version == engine_version,
    )
    inside = [column for column in intakes.c if column.name not in jobs.c]
    columns = (here.job_id, here.number, here.last_change, here.opened_at, circuits.c.text, *inside)
    statement = (
        select(*columns, lessons.c.document)
        .join(intakes, of_intake)
        .join(circuits, of_circuit)
        .outerjoin(lessons, known)
        .where(here.state == "closed", here.number > number)
    )
    rows = connection.execute(statement.order_by(here.number).limit(limit)).mappings()
    return tuple(
        ClosedJob(
            job_id=row["job_id"],
            number=row["number"],
            last_change=row["last_change"],
            opened_at=row["opened_at"],
            circuit=row["text"],
            intake=from_row(Intake, row),
            lesson=row["document"],
        )
        for row in rows
    )


def keep_lessons(
    connection: Connection, taught: Iterable[tuple[ClosedJob, dict[str, Any]]], engine_version: str
) -> None:
    """Keep what jobs taught, each as it stood when it was read; what was kept of them before is replaced."""
    rows = [
        checked(
            lessons,
            {
                "job_id": job.job_id,
                "engine_version": engine_version,
                "after": job.last_change,
                "document": document,
            },
        )
        for job, document in taught
    ]
    connection.execute(delete(lessons).where(lessons.c.job_id.in_([row["job_id"] for row in rows])))
    connection.execute(insert(lessons), rows)
