"""A job's own row, what is kept in versions (intake, circuit, closing), and the list of jobs."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, RowMapping, Select, and_, func, insert, select, update

from halfsplit.store import tables
from halfsplit.store.failures import EditConflictError, EntryConflictError
from halfsplit.store.records import (
    CircuitVersion,
    Closing,
    Customer,
    Intake,
    IntakeVersion,
    Job,
    JobState,
    JobSummary,
)
from halfsplit.store.rows import checked, from_row, to_row
from halfsplit.store.tables import circuits, closings, intakes, jobs, steps
from halfsplit.store.writing import JobWriter, no_job, note_audit


def open_job(
    connection: Connection, job_id: str, intake: Intake, customer: Customer | None, who: str, at: datetime
) -> None:
    """Create a job with the first version of its intake; a repeat of the same opening changes nothing."""
    wait_for_turn(connection)
    if _opened_already(connection, job_id, intake):
        return
    row: dict[str, Any] = {"job_id": job_id, "number": next_number(connection), "state": "open"}
    row |= {
        "opened_at": at,
        "opened_by": who,
        "changed_at": at,
        "last_change": 1,
        "intake_version": 1,
        "circuit_version": 0,
    }
    row |= {"search": search_text(row["number"], intake, customer)} | customer_columns(customer)
    connection.execute(insert(jobs).values(checked(jobs, row)))
    version = _intake_row(IntakeVersion(version=1, intake=intake, who=who, at=at, sequence=1))
    connection.execute(insert(intakes).values(checked(intakes, version | {"job_id": job_id})))
    note_audit(connection, who, "job", at, ref=job_id, job_id=job_id, sequence=1)


def _opened_already(connection: Connection, job_id: str, intake: Intake) -> bool:
    first = (
        connection.execute(select(intakes).where(intakes.c.job_id == job_id, intakes.c.version == 1))
        .mappings()
        .first()
    )
    if first is None:
        return False
    if from_row(Intake, first) != intake:
        raise EntryConflictError(
            f"job {job_id} is open already, with a different intake: it was not changed. "
            "Save a new version of its intake instead."
        )
    return True


def wait_for_turn(connection: Connection) -> None:
    """One job is opened at a time: who comes second with the same id then finds the first's."""
    connection.execute(select(tables.workshop.c.id).with_for_update()).one()


def next_number(connection: Connection) -> int:
    """The next number on the workshop's list of jobs. The row that counts is locked: none is given twice."""
    counter = tables.workshop.c.last_job_number
    statement = update(tables.workshop).values(last_job_number=counter + 1).returning(counter)
    return int(connection.execute(statement).scalar_one())


def search_text(number: int, intake: Intake, customer: Customer | None) -> str:
    """What the search looks through, folded by Python since SQLite folds ASCII letters only."""
    vehicle = intake.vehicle
    words = [str(number), vehicle.registration, vehicle.vin, vehicle.description, intake.complaint.text]
    return "\n".join([*words, customer.name if customer else ""]).casefold()


def customer_columns(customer: Customer | None) -> dict[str, Any]:
    """The customer's columns of a job's row; all NULL without one."""
    names = to_row(Customer())
    return {f"customer_{name}": getattr(customer, name, None) for name in names}


def _intake_row(version: IntakeVersion) -> dict[str, Any]:
    """The intake's own columns carry no prefix: they are the table."""
    return to_row(version.intake) | {
        name: getattr(version, name) for name in ("version", "who", "at", "sequence")
    }


def read_intake_version(row: RowMapping) -> IntakeVersion:
    """The version of the intake in a row of its table."""
    names = ("version", "who", "at", "sequence")
    return IntakeVersion(intake=from_row(Intake, row), **{name: row[name] for name in names})


def save_intake(job: JobWriter, intake: Intake, based_on: int, who: str, at: datetime) -> None:
    """Append a version of the intake; saving again what is there changes nothing."""
    latest = job.find(intakes, version=job.row["intake_version"])
    if latest is not None and from_row(Intake, latest) == intake:
        return
    version = next_version(job.row["intake_version"], based_on, "intake")
    add_intake(
        job,
        IntakeVersion(
            version=version, intake=intake, who=who, at=at, sequence=job.note("intake", str(version), who, at)
        ),
    )
    customer = None if job.row["customer_name"] is None else from_row(Customer, job.row, "customer_")
    job.change_job(intake_version=version, search=search_text(job.row["number"], intake, customer))


def add_intake(job: JobWriter, version: IntakeVersion) -> None:
    """Insert a version of the intake as it is."""
    job.connection.execute(
        insert(intakes).values(checked(intakes, _intake_row(version) | {"job_id": job.job_id}))
    )


def next_version(latest: int, based_on: int, what: str) -> int:
    """The version after the latest, if the edit was based on the latest.

    Raises:
        EditConflictError: somebody else saved in the meantime.
    """
    if latest != based_on:
        raise EditConflictError(
            f"somebody else changed the {what} in the meantime: it is at version {latest}, "
            f"this edit is based on {based_on}. "
            "Nothing was overwritten: look at the latest version, then save again."
        )
    return latest + 1


def save_circuit(job: JobWriter, text: str, based_on: int, who: str, at: datetime) -> CircuitVersion:
    """Append a version of the circuit's notation; saving again what is there changes nothing."""
    latest = job.find(circuits, version=job.row["circuit_version"])
    if latest is not None and latest["text"] == text:
        return from_row(CircuitVersion, latest)
    version = next_version(job.row["circuit_version"], based_on, "circuit")
    saved = CircuitVersion(version=version, text=text, who=who, at=at)
    saved = replace(saved, sequence=job.note("circuit", str(version), who, at))
    job.add(circuits, saved)
    job.change_job(circuit_version=version)
    return saved


def set_state(job: JobWriter, state: JobState, who: str, at: datetime) -> None:
    """Change a job's state; the same again changes nothing."""
    if job.row["state"] != state:
        job.note("state", state, who, at)
        job.change_job(state=state)


def set_customer(job: JobWriter, customer: Customer | None, who: str, at: datetime) -> None:
    """Replace or erase the customer's contact, from the search too."""
    latest = job.find(intakes, version=job.row["intake_version"])
    intake = from_row(Intake, latest) if latest is not None else Intake()
    job.note("customer", "", who, at)
    job.change_job(search=search_text(job.row["number"], intake, customer), **customer_columns(customer))


def close_job(job: JobWriter, closing: Closing) -> None:
    """Append a closing and set the state; a repeat of the last closing changes nothing."""
    statement = (
        select(closings).where(closings.c.job_id == job.job_id).order_by(closings.c.sequence.desc()).limit(1)
    )
    latest = job.connection.execute(statement).mappings().one_or_none()
    said = ("complaint", "cause", "correction")
    if (
        job.row["state"] == "closed"
        and latest
        and all(latest[name] == getattr(closing, name) for name in said)
    ):
        return
    job.add(closings, closing, sequence=job.note("closing", "", closing.who, closing.at))
    job.change_job(state="closed")


def read_job(connection: Connection, condition: Any, asked: str) -> Job:
    """The one job that meets the condition, with its latest intake and closing."""
    joined = and_(intakes.c.job_id == jobs.c.job_id, intakes.c.version == jobs.c.intake_version)
    inside = [column.label(f"intake_{column.name}") for column in intakes.c if column.name != "version"]
    row = (
        connection.execute(select(jobs, *inside).join(intakes, joined).where(condition))
        .mappings()
        .one_or_none()
    )
    if row is None:
        raise no_job(asked)
    statement = (
        select(closings)
        .where(closings.c.job_id == row["job_id"])
        .order_by(closings.c.sequence.desc())
        .limit(1)
    )
    closing = connection.execute(statement).mappings().one_or_none()
    return replace(from_row(Job, row), closing=from_row(Closing, closing) if closing else None)


def list_jobs(
    connection: Connection, search: str, states: Sequence[JobState], limit: int, offset: int
) -> tuple[JobSummary, ...]:
    """The jobs that hold every word of the search, the last changed first."""
    statement = _summaries()
    words = [jobs.c.search.contains(word, autoescape=True) for word in search.casefold().split()]
    if states:
        words.append(jobs.c.state.in_(states))
    statement = statement.where(*words).order_by(jobs.c.changed_at.desc(), jobs.c.number.desc())
    rows = connection.execute(statement.limit(limit).offset(offset)).mappings()
    return tuple(from_row(JobSummary, row) for row in rows)


def read_summary(connection: Connection, job_id: str) -> JobSummary:
    """One job's line of the list."""
    row = connection.execute(_summaries().where(jobs.c.job_id == job_id)).mappings().one_or_none()
    if row is None:
        raise no_job(job_id)
    return from_row(JobSummary, row)


def _summaries() -> Select[Any]:
    minutes = select(func.coalesce(func.sum(steps.c.minutes), 0.0)).where(
        steps.c.job_id == jobs.c.job_id, ~steps.c.withdrawn
    )
    joined = and_(intakes.c.job_id == jobs.c.job_id, intakes.c.version == jobs.c.intake_version)
    return select(
        jobs,
        intakes.c.complaint_text.label("complaint"),
        intakes.c.complaint_how_often.label("how_often"),
        intakes.c.vehicle_description.label("vehicle"),
        intakes.c.vehicle_registration.label("registration"),
        intakes.c.vehicle_vin.label("vin"),
        minutes.scalar_subquery().label("minutes"),
    ).join(intakes, joined)
