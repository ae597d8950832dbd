"""The tables, one for each list of records in `records.py`. Column names are the records' field names.

What a record holds inside another (a complaint inside an intake) is flattened: `complaint_text`. Every table
of a job has `job_id`; a change of a job takes the next number from its row in `jobs`, which also puts
concurrent writers in order. `KEPT` names the tables that triggers keep from being changed or deleted, in
every program that opens the database.
"""

from typing import Any, get_args

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

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)

IDENTIFIER = 100
LINE = 300
PARAGRAPHS = 20_000
NOTATION = 1_000_000
PAYLOAD = 300_000
DOCUMENT = 5_000_000

_NUMBER = BigInteger().with_variant(Integer, "sqlite")  # SQLite counts up by itself only in an INTEGER key


def _identifier(name: str, **options: Any) -> Column[Any]:
    return Column(name, String(IDENTIFIER), nullable=False, info={"filled": True}, **options)


def _line(name: str) -> Column[Any]:
    return Column(name, String(LINE), nullable=False)


def _paragraphs(name: str) -> Column[Any]:
    return Column(name, String(PARAGRAPHS), nullable=False)


def _moment(name: str, *, nullable: bool = False) -> Column[Any]:
    return Column(name, Moment, nullable=nullable)


def _yes_no(name: str, *, nullable: bool = False) -> Column[Any]:
    return Column(name, Boolean, nullable=nullable)


def _choice(name: str, choices: Any) -> Column[Any]:
    words = get_args(choices)
    listed = ", ".join(f"'{word}'" for word in words)
    check = CheckConstraint(f"{name} IN ({listed})", name=name)
    return Column(name, String(20), check, nullable=False, info={"choices": words})


def _sequence() -> Column[Any]:
    return Column("sequence", Integer, nullable=False)


def _job_id(**options: Any) -> Column[Any]:
    return Column("job_id", ForeignKey("jobs.job_id"), nullable=False, **options)


def _job_table(name: str, *parts: Any) -> Table:
    """A list within a job, without SQLite's hidden row number, by which a row could be replaced."""
    return Table(name, metadata, _job_id(primary_key=True), *parts, sqlite_with_rowid=False)


jobs = Table(
    "jobs",
    metadata,
    _identifier("job_id", primary_key=True),
    Column("number", Integer, nullable=False, unique=True),
    _choice("state", records.JobState),
    _moment("opened_at"),
    _line("opened_by"),
    _moment("changed_at"),
    Column("last_change", Integer, nullable=False),
    Column("intake_version", Integer, nullable=False),
    Column("circuit_version", Integer, nullable=False),
    Column("customer_name", String(LINE)),
    Column("customer_phone", String(LINE)),
    Column("customer_email", String(LINE)),
    Column("customer_address", String(PARAGRAPHS)),
    Column("search", Text, nullable=False),
    Index(None, "changed_at"),
)

intakes = _job_table(
    "intakes",
    Column("version", Integer, primary_key=True),
    _sequence(),
    _line("who"),
    _moment("at"),
    _paragraphs("complaint_text"),
    _paragraphs("complaint_when"),
    _choice("complaint_how_often", records.HowOften),
    _line("vehicle_vin"),
    _line("vehicle_description"),
    _line("vehicle_registration"),
    Column("vehicle_odometer", Integer),
    _choice("vehicle_odometer_unit", records.Vehicle.__annotations__["odometer_unit"]),
    Column("battery_volts", Float),
    Column("battery_celsius", Float),
    Column("battery_type", String(LINE)),
    _yes_no("battery_rested", nullable=True),
    Column("earlier_work", Json(tuple[records.EarlierWork, ...], PAYLOAD), nullable=False),
    Column("settings_instruments", Json(tuple[str, ...], PAYLOAD), nullable=False),
    _yes_no("settings_intermittent"),
    Column("settings_seed", BigInteger, nullable=False),
    _line("settings_currency"),
    Column("settings_hourly_rate", Amount),
)

circuits = _job_table(
    "circuits",
    Column("version", Integer, primary_key=True),
    _sequence(),
    Column("text", String(NOTATION), nullable=False),
    _line("who"),
    _moment("at"),
)

evidence = _job_table(
    "evidence",
    _identifier("entry_id", primary_key=True),
    _sequence(),
    _identifier("kind"),
    Column("payload", Json(dict[str, Any], PAYLOAD), nullable=False),
    _moment("at"),
    _line("who"),
    _choice("present", records.Present),
    _line("instrument"),
    _line("serial"),
    Column("strikes", String(IDENTIFIER)),
    _paragraphs("reason"),
    UniqueConstraint("job_id", "sequence"),
    ForeignKeyConstraint(["job_id", "strikes"], ["evidence.job_id", "evidence.entry_id"]),
    CheckConstraint("(kind = 'strike') = (strikes IS NOT NULL)", name="strikes"),
    CheckConstraint("strikes IS NULL OR reason <> ''", name="reason"),
)

attachments = _job_table(
    "attachments",
    _identifier("attachment_id", primary_key=True),
    _sequence(),
    _choice("kind", records.AttachmentKind),
    _line("name"),
    _line("media_type"),
    Column("size", BigInteger, nullable=False),
    Column("sha256", String(64), nullable=False),
    _moment("at"),
    _line("who"),
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
    "steps",
    _identifier("step_id", primary_key=True),
    _sequence(),
    _paragraphs("what"),
    _line("who"),
    Column("minutes", Float),
    _moment("started_at", nullable=True),
    _moment("stopped_at", nullable=True),
    Column("entry_id", String(IDENTIFIER)),
    _yes_no("withdrawn"),
)

parts = _job_table(
    "parts",
    _identifier("part_id", primary_key=True),
    _sequence(),
    _line("name"),
    Column("price", Amount, nullable=False),
    Column("quantity", Amount, nullable=False),
    _choice("use", records.PartUse),
    _line("part_number"),
    _line("serial"),
    _yes_no("old_part_kept"),
    _yes_no("withdrawn"),
)

authorisations = _job_table(
    "authorisations",
    _identifier("authorisation_id", primary_key=True),
    _sequence(),
    Column("amount", Amount, nullable=False),
    _line("currency"),
    _line("by_whom"),
    _line("how"),
    _moment("at"),
    _line("who"),
)

shown_results = _job_table(
    "shown_results",
    Column("sequence", Integer, primary_key=True),
    _identifier("what"),
    Column("document", Json(dict[str, Any], DOCUMENT), nullable=False),
    _identifier("engine_version"),
    Column("after", Integer, nullable=False),
    _line("who"),
    _moment("at"),
)

closings = _job_table(
    "closings",
    Column("sequence", Integer, primary_key=True),
    _paragraphs("complaint"),
    _paragraphs("cause"),
    _paragraphs("correction"),
    _line("who"),
    _moment("at"),
)

# What a closed job taught, so that it is worked out once; never truth, and no part of the job's record.
lessons = Table(
    "lessons",
    metadata,
    _job_id(primary_key=True),
    _identifier("engine_version"),
    Column("after", Integer, nullable=False),
    Column("document", Json(dict[str, Any], PAYLOAD), nullable=False),
)

# Also the change feed: what happened to a job has its sequence number.
audit = Table(
    "audit",
    metadata,
    Column("number", _NUMBER, primary_key=True, autoincrement=True),
    Column("job_id", ForeignKey("jobs.job_id")),
    Column("sequence", Integer),
    _identifier("what"),
    _line("ref"),
    _line("who"),
    _moment("at"),
    UniqueConstraint("job_id", "sequence"),
    sqlite_autoincrement=True,
)

workshop = Table(
    "workshop",
    metadata,
    Column("id", Integer, CheckConstraint("id = 1", name="one_row"), primary_key=True, autoincrement=False),
    _line("name"),
    _paragraphs("address"),
    _paragraphs("contact"),
    Column("currency", String(3), nullable=False),
    Column("hourly_rate", Amount),
    Column("last_job_number", Integer, nullable=False),
    _paragraphs("serials"),
    _paragraphs("adapters"),
)

users = Table(
    "users",
    metadata,
    _identifier("folded_name", primary_key=True),
    _identifier("name"),
    _line("password_hash"),
    _choice("role", records.Role),
    _moment("created_at"),
    _yes_no("disabled"),
)

sessions = Table(
    "sessions",
    metadata,
    _identifier("token_hash", primary_key=True),
    Column("folded_name", ForeignKey("users.folded_name"), nullable=False, index=True),
    _line("csrf_secret"),
    _moment("created_at"),
    _moment("expires_at"),
)

failed_logins = Table(
    "failed_logins",
    metadata,
    Column("number", _NUMBER, primary_key=True, autoincrement=True),
    _line("origin"),
    _moment("at"),
    Index(None, "origin", "at"),
)

owner_links = Table(
    "owner_links",
    metadata,
    _identifier("token_hash", primary_key=True),
    _moment("expires_at"),
    _moment("used_at", nullable=True),
)

# Exercises of practice: a person's, and of no job.
practices = Table(
    "practices",
    metadata,
    _identifier("practice_id", primary_key=True),
    _line("person"),
    _line("title"),
    Column("circuit", String(NOTATION), nullable=False),
    _line("difficulty"),
    Column("seed", BigInteger, nullable=False),
    _moment("begun_at"),
    _moment("ended_at", nullable=True),
    Column("version", Integer, nullable=False),
    Column("record", Json(dict[str, Any], DOCUMENT), nullable=False),
    _yes_no("solved"),
    Column("points", Integer),
    Column("minutes", Float, nullable=False),
    Column("tests", Integer, nullable=False),
    Column("hints", Integer, nullable=False),
    Column("wrong", Integer, nullable=False),
    Column("best_minutes", Float),
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
