"""The tables, one for each list of records in `records.py`, made from the records' fields.

What a record holds inside another (a complaint inside an intake) is flattened: `complaint_text`. Every table
of a job has `job_id`; a change of a job takes the next number from its row in `jobs`, which also puts
concurrent writers in order. `KEPT` names the tables that triggers keep from being changed or deleted, in
every program that opens the database.
"""

from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from types import NoneType
from typing import Any, Literal, get_args, get_origin, get_type_hints

from sqlalchemy import (
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from halfsplit.store import records
from halfsplit.store.columns import Amount, Json, Moment
from halfsplit.store.rows import shape

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)

PAYLOAD = 300_000
DOCUMENT = 5_000_000

LINE = String(300)
IDENTIFIER = String(100)
"""Never empty where it is needed."""
PARAGRAPHS = String(20_000)
NOTATION = String(1_000_000)
TYPES: dict[type, Any] = {
    str: LINE,
    int: Integer,
    float: Float,
    bool: Boolean,
    Decimal: Amount,
    datetime: Moment,
}
"""Type of a field -> that of its column, where the table says nothing else."""

_NUMBER = BigInteger().with_variant(Integer, "sqlite")  # SQLite counts up by itself only in an INTEGER key


def _columns(
    record: type, key: str = "", prefix: str = "", /, *, nullable: bool = False, **own: Any
) -> Iterator[Column[Any]]:
    """A column for each field of a record, by the field's type; what may be None may be NULL.

    `own`: columns (or their types) that are otherwise, None for a field without one.
    """
    hints = get_type_hints(record)
    for field, inner in shape(record).items():
        name, kinds = prefix + field, get_args(hints[field]) or (hints[field],)
        optional = nullable or NoneType in kinds
        if inner is not None and name not in own:
            yield from _columns(inner, "", f"{name}_", nullable=optional, **own)
        elif isinstance(own.get(name), Column):
            yield own[name]
        elif get_origin(hints[field]) is Literal:
            listed = ", ".join(f"'{word}'" for word in kinds)
            check = CheckConstraint(f"{name} IN ({listed})", name=name)
            yield Column(name, String(20), check, nullable=False, info={"choices": kinds})
        elif own.get(name, record) is not None:
            kind = own[name] if name in own else TYPES[kinds[0]]
            filled = {"filled": True} if kind is IDENTIFIER and not optional else {}
            yield Column(name, kind, primary_key=name == key, nullable=optional, info=filled)


def _identifier(name: str, **options: Any) -> Column[Any]:
    return Column(name, IDENTIFIER, nullable=False, info={"filled": True}, **options)


def _job_table(name: str, *parts: Any) -> Table:
    """A list within a job, without SQLite's hidden row number, by which a row could be replaced."""
    job_id: Column[str] = Column("job_id", ForeignKey("jobs.job_id"), nullable=False, primary_key=True)
    return Table(name, metadata, job_id, *parts, sqlite_with_rowid=False)


jobs = Table(
    "jobs",
    metadata,
    *_columns(
        records.Job,
        "job_id",
        job_id=IDENTIFIER,
        number=Column("number", Integer, nullable=False, unique=True),
        customer_address=PARAGRAPHS,
        intake=None,
        closing=None,
    ),
    Column("search", Text, nullable=False),
    Index(None, "changed_at"),
)

intakes = _job_table(
    "intakes",
    *_columns(records.IntakeVersion, "version", intake=None),
    *_columns(
        records.Intake,
        complaint_text=PARAGRAPHS,
        complaint_when=PARAGRAPHS,
        earlier_work=Json(tuple[records.EarlierWork, ...], PAYLOAD),
        settings_instruments=Json(tuple[str, ...], PAYLOAD),
        settings_seed=BigInteger,
    ),
)

circuits = _job_table("circuits", *_columns(records.CircuitVersion, "version", text=NOTATION))

evidence = _job_table(
    "evidence",
    *_columns(
        records.EvidenceEntry,
        "entry_id",
        entry_id=IDENTIFIER,
        kind=IDENTIFIER,
        payload=Json(dict[str, Any], PAYLOAD),
        strikes=IDENTIFIER,
        reason=PARAGRAPHS,
        attachments=None,
    ),
    UniqueConstraint("job_id", "sequence"),
    ForeignKeyConstraint(["job_id", "strikes"], ["evidence.job_id", "evidence.entry_id"]),
    CheckConstraint("(kind = 'strike') = (strikes IS NOT NULL)", name="strikes"),
    CheckConstraint("strikes IS NULL OR reason <> ''", name="reason"),
)

attachments = _job_table(
    "attachments",
    *_columns(
        records.Attachment, "attachment_id", attachment_id=IDENTIFIER, size=BigInteger, sha256=String(64)
    ),
)

entry_attachments = _job_table(
    "entry_attachments",
    _identifier("entry_id", primary_key=True),
    _identifier("attachment_id", primary_key=True),
    Column("position", Integer, nullable=False),
    ForeignKeyConstraint(["job_id", "entry_id"], ["evidence.job_id", "evidence.entry_id"]),
    ForeignKeyConstraint(["job_id", "attachment_id"], ["attachments.job_id", "attachments.attachment_id"]),
)

steps = _job_table(
    "steps", *_columns(records.Step, "step_id", step_id=IDENTIFIER, what=PARAGRAPHS, entry_id=IDENTIFIER)
)

parts = _job_table("parts", *_columns(records.PartUsed, "part_id", part_id=IDENTIFIER))

authorisations = _job_table(
    "authorisations",
    *_columns(records.Authorisation, "authorisation_id", authorisation_id=IDENTIFIER),
)

shown_results = _job_table(
    "shown_results",
    *_columns(
        records.ShownResult,
        "sequence",
        what=IDENTIFIER,
        document=Json(dict[str, Any], DOCUMENT),
        engine_version=IDENTIFIER,
    ),
)

closings = _job_table(
    "closings",
    *_columns(records.Closing, "sequence", complaint=PARAGRAPHS, cause=PARAGRAPHS, correction=PARAGRAPHS),
)

# What a closed job taught, so that it is worked out once; never truth, and no part of the job's record.
lessons = Table(
    "lessons",
    metadata,
    Column("job_id", ForeignKey("jobs.job_id"), nullable=False, primary_key=True),
    _identifier("engine_version"),
    Column("after", Integer, nullable=False),
    Column("document", Json(dict[str, Any], PAYLOAD), nullable=False),
)

# Also the change feed: what happened to a job has its sequence number.
audit = Table(
    "audit",
    metadata,
    *_columns(
        records.AuditEntry,
        number=Column("number", _NUMBER, primary_key=True, autoincrement=True),
        job_id=Column("job_id", ForeignKey("jobs.job_id")),
        what=IDENTIFIER,
    ),
    UniqueConstraint("job_id", "sequence"),
    sqlite_autoincrement=True,
)

workshop = Table(
    "workshop",
    metadata,
    Column("id", Integer, CheckConstraint("id = 1", name="one_row"), primary_key=True, autoincrement=False),
    *_columns(
        records.Workshop,
        address=PARAGRAPHS,
        contact=PARAGRAPHS,
        currency=String(3),
        serials=PARAGRAPHS,
        adapters=PARAGRAPHS,
    ),
    Column("last_job_number", Integer, nullable=False),
)

users = Table(
    "users",
    metadata,
    _identifier("folded_name", primary_key=True),
    *_columns(records.User, name=IDENTIFIER),
)

sessions = Table(
    "sessions",
    metadata,
    *_columns(records.Session, "token_hash", token_hash=IDENTIFIER, user=None),
    Column("folded_name", ForeignKey("users.folded_name"), nullable=False, index=True),
)

failed_logins = Table(
    "failed_logins",
    metadata,
    Column("number", _NUMBER, primary_key=True, autoincrement=True),
    Column("origin", LINE, nullable=False),
    Column("at", Moment, nullable=False),
    Index(None, "origin", "at"),
)

owner_links = Table(
    "owner_links",
    metadata,
    _identifier("token_hash", primary_key=True),
    Column("expires_at", Moment, nullable=False),
    Column("used_at", Moment),
)

# Exercises of practice: a person's, and of no job.
practices = Table(
    "practices",
    metadata,
    *_columns(
        records.Practice,
        "practice_id",
        practice_id=IDENTIFIER,
        circuit=NOTATION,
        seed=BigInteger,
        record=Json(dict[str, Any], DOCUMENT),
    ),
    Index(None, "person", "begun_at"),
)

# Table -> the keys by which a row could be replaced.
KEPT: dict[str, tuple[tuple[str, ...], ...]] = {
    "intakes": (("job_id", "version"),),
    "circuits": (("job_id", "version"),),
    "evidence": (("job_id", "entry_id"), ("job_id", "sequence")),
    "attachments": (("job_id", "attachment_id"),),
    "entry_attachments": (("job_id", "entry_id", "attachment_id"),),
    "authorisations": (("job_id", "authorisation_id"),),
    "shown_results": (("job_id", "sequence"),),
    "closings": (("job_id", "sequence"),),
    "audit": (("number",), ("job_id", "sequence")),
}
