"""A job's own row, what is kept in versions (intake, circuit, closing), and the list of jobs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, and_, delete, func, insert, select, update

from halfsplit.errors import InputError, NotFoundError
from halfsplit.store import tables
from halfsplit.store.failures import EditConflictError, EntryConflictError
from halfsplit.store.records import (
    CircuitVersion,
    ClosedJob,
    Closing,
    Customer,
    Intake,
    IntakeVersion,
    Job,
    JobState,
    JobSummary,
)
from halfsplit.store.rows import checked, from_row, to_row
from halfsplit.store.tables import circuits, closings, intakes, jobs, lessons, steps
from halfsplit.store.writing import JobWriter, Kept, no_job, note_audit, row_of, rows_of


class Jobs(Kept):
    """Jobs with what is kept in versions (intake, circuit, closing), and the list of jobs."""

    def open_job(
        self, job_id: str, intake: Intake, *, who: str, at: datetime, customer: Customer | None = None
    ) -> Job:
        """Open a job under the id given; it gets the workshop's next number. A repeat opens it once.

        Raises:
            EntryConflictError: the id is open with a different intake.
        """
        with self._database.writing() as connection:
            wait_for_turn(connection)
            first = row_of(connection, intakes, job_id=job_id, version=1)
            if first is not None and from_row(Intake, first) != intake:
                raise EntryConflictError(
                    f"job {job_id} is open already, with a different intake: it was not changed. "
                    "Save a new version of its intake instead."
                )
            if first is None:
                row: dict[str, Any] = {"job_id": job_id, "number": next_number(connection), "state": "open"}
                row |= {"opened_at": at, "opened_by": who, "changed_at": at, "last_change": 1}
                row |= {"intake_version": 1, "circuit_version": 0}
                row |= {"search": search_text(row["number"], intake, customer)} | customer_columns(customer)
                connection.execute(insert(jobs).values(checked(jobs, row)))
                add_intake(
                    connection, job_id, IntakeVersion(version=1, intake=intake, who=who, at=at, sequence=1)
                )
                note_audit(connection, who, "job", at, ref=job_id, job_id=job_id, sequence=1)
        return self.job(job_id)

    def job(self, job_id: str) -> Job:
        """A job as it stands now.

        Raises:
            NotFoundError: there is no such job.
        """
        with self._database.reading() as connection:
            return _read_job(connection, jobs.c.job_id == job_id, job_id)

    def job_by_number(self, number: int) -> Job:
        """A job by its number on the workshop's list.

        Raises:
            NotFoundError: there is no such job.
        """
        with self._database.reading() as connection:
            return _read_job(connection, jobs.c.number == number, str(number))

    def list_jobs(
        self, search: str = "", *, states: Sequence[JobState] = (), limit: int = 100, offset: int = 0
    ) -> tuple[JobSummary, ...]:
        """The jobs with every word of `search` in number, vehicle, complaint or customer, by last change."""
        words = [jobs.c.search.contains(word, autoescape=True) for word in search.casefold().split()]
        if states:
            words.append(jobs.c.state.in_(states))
        statement = _summaries().where(*words).order_by(jobs.c.changed_at.desc(), jobs.c.number.desc())
        with self._database.reading() as connection:
            rows = connection.execute(statement.limit(limit).offset(offset)).mappings()
            return tuple(from_row(JobSummary, row) for row in rows)

    def summary(self, job_id: str) -> JobSummary:
        """One job as the list tells it.

        Raises:
            NotFoundError: there is no such job.
        """
        with self._reading_job(job_id) as connection:
            row = connection.execute(_summaries().where(jobs.c.job_id == job_id)).mappings().one()
            return from_row(JobSummary, row)

    def save_intake(self, job_id: str, intake: Intake, *, based_on: int, who: str, at: datetime) -> Job:
        """Save the intake as a new version. `based_on` is the `intake_version` that was edited.

        Raises:
            EditConflictError: somebody else saved in the meantime.
        """
        with self._writing_job(job_id) as job:
            if _latest_intake(job) != intake:
                version = _next_version(job.row["intake_version"], based_on, "intake")
                sequence = job.note("intake", str(version), who, at)
                saved = IntakeVersion(version=version, intake=intake, who=who, at=at, sequence=sequence)
                add_intake(job.connection, job_id, saved)
                customer = from_row(Customer, job.row, "customer_") if job.row["customer_name"] else None
                search = search_text(job.row["number"], intake, customer)
                job.change_job(intake_version=version, search=search)
        return self.job(job_id)

    def set_customer(self, job_id: str, customer: Customer | None, *, who: str, at: datetime) -> Job:
        """Replace the customer's contact, or erase it with None: from the search too."""
        with self._writing_job(job_id) as job:
            search = search_text(job.row["number"], _latest_intake(job) or Intake(), customer)
            job.note("customer", "", who, at)
            job.change_job(search=search, **customer_columns(customer))
        return self.job(job_id)

    def set_state(self, job_id: str, state: JobState, *, who: str, at: datetime) -> Job:
        """Say how far the job is; `close_job` closes it.

        Raises:
            InputError: `closed` needs a closing.
        """
        if state == "closed":
            raise InputError("a job is closed with complaint, cause and correction", remedy="call close_job")
        with self._writing_job(job_id) as job:
            if job.row["state"] != state:
                job.note("state", state, who, at)
                job.change_job(state=state)
        return self.job(job_id)

    def close_job(self, job_id: str, closing: Closing) -> Job:
        """Close the job as complaint, cause, correction. It can be opened again with `set_state`."""
        with self._writing_job(job_id) as job:
            latest = _latest_closing(job.connection, job_id)
            said = ("complaint", "cause", "correction")
            again = latest and all(getattr(latest, name) == getattr(closing, name) for name in said)
            if not again or job.row["state"] != "closed":
                job.add(closings, closing, sequence=job.note("closing", "", closing.who, closing.at))
                job.change_job(state="closed")
        return self.job(job_id)

    def save_circuit(
        self, job_id: str, text: str, *, based_on: int, who: str, at: datetime
    ) -> CircuitVersion:
        """Save the notation as a new version. `based_on` is the version that was edited, 0 for the first.

        Raises:
            EditConflictError: somebody else saved in the meantime.
        """
        with self._writing_job(job_id) as job:
            latest = job.find(circuits, version=job.row["circuit_version"])
            if latest is not None and latest["text"] == text:
                return from_row(CircuitVersion, latest)
            version = _next_version(job.row["circuit_version"], based_on, "circuit")
            sequence = job.note("circuit", str(version), who, at)
            saved = CircuitVersion(version=version, text=text, who=who, at=at, sequence=sequence)
            job.add(circuits, saved)
            job.change_job(circuit_version=version)
            return saved

    def circuit(self, job_id: str, version: int | None = None) -> CircuitVersion | None:
        """One version of the circuit, the latest by default; None if the job has no circuit yet.

        Raises:
            NotFoundError: there is no such job or version.
        """
        latest = select(jobs.c.circuit_version).where(jobs.c.job_id == job_id).scalar_subquery()
        with self._reading_job(job_id) as connection:
            rows = rows_of(connection, circuits, job_id, "version", circuits.c.version == (version or latest))
        if not rows and version is not None:
            raise NotFoundError(f"there is no version {version} of the circuit of job {job_id!r}")
        return from_row(CircuitVersion, rows[0]) if rows else None

    # Closed jobs, with what each taught where that is known already

    def closed_jobs(self, number: int, engine_version: str, *, limit: int = 200) -> tuple[ClosedJob, ...]:
        """The closed jobs with a circuit after a number, by number; with what this release has kept of each."""
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
        with self._database.reading() as connection:
            rows = connection.execute(statement.order_by(here.number).limit(limit)).mappings().all()
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

    def keep_lessons(self, taught: Sequence[tuple[ClosedJob, dict[str, Any]]], engine_version: str) -> None:
        """Keep what closed jobs taught until they change, or another release looks at them."""
        rows = [
            {
                "job_id": job.job_id,
                "engine_version": engine_version,
                "after": job.last_change,
                "document": lesson,
            }
            for job, lesson in taught
        ]
        rows = [checked(lessons, row) for row in rows]
        with self._database.writing() as connection:
            connection.execute(delete(lessons).where(lessons.c.job_id.in_([row["job_id"] for row in rows])))
            connection.execute(insert(lessons), rows)


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


def read_intakes(connection: Connection, job_id: str) -> tuple[IntakeVersion, ...]:
    """Every version of a job's intake; the intake's own columns carry no prefix: they are the table."""
    names = ("version", "who", "at", "sequence")
    return tuple(
        IntakeVersion(intake=from_row(Intake, row), **{name: row[name] for name in names})
        for row in rows_of(connection, intakes, job_id, "version")
    )


def add_intake(connection: Connection, job_id: str, version: IntakeVersion) -> None:
    """Insert a version of the intake as it is."""
    row = to_row(version.intake) | to_row(version) | {"job_id": job_id}
    connection.execute(insert(intakes).values(checked(intakes, row)))


def _latest_intake(job: JobWriter) -> Intake | None:
    row = job.find(intakes, version=job.row["intake_version"])
    return None if row is None else from_row(Intake, row)


def _next_version(latest: int, based_on: int, what: str) -> int:
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


def _read_job(connection: Connection, condition: Any, asked: str) -> Job:
    """The one job that meets the condition, with its latest intake and closing."""
    joined = and_(intakes.c.job_id == jobs.c.job_id, intakes.c.version == jobs.c.intake_version)
    inside = [column.label(f"intake_{column.name}") for column in intakes.c if column.name != "version"]
    statement = select(jobs, *inside).join(intakes, joined).where(condition)
    row = connection.execute(statement).mappings().one_or_none()
    if row is None:
        raise no_job(asked)
    return replace(from_row(Job, row), closing=_latest_closing(connection, row["job_id"]))


def _latest_closing(connection: Connection, job_id: str) -> Closing | None:
    rows = rows_of(connection, closings, job_id, "sequence")
    return from_row(Closing, rows[-1]) if rows else None


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
