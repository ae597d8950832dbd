"""The first release: jobs with all that they hold, accounts, settings; triggers that keep evidence."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

COUNTER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

# Table -> the keys by which a row could be replaced.
KEPT = {
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


def upgrade() -> None:
    """Create everything."""
    _create_tables()
    op.execute("INSERT INTO workshop VALUES (1, '', '', '', '', NULL, 0)")
    keep = _keep_on_sqlite if op.get_bind().dialect.name == "sqlite" else _keep_on_postgresql
    for table, keys in KEPT.items():
        for statement in keep(table, keys):
            op.execute(statement)


def _keep_on_sqlite(table: str, keys: tuple[tuple[str, ...], ...]) -> list[str]:
    """REPLACE deletes without firing a delete trigger: a row whose key is there is stopped before it goes in."""
    refuse = f"BEGIN SELECT RAISE(ABORT, '{table} is kept for good'); END"
    there = " OR ".join("(" + " AND ".join(f"{name} = NEW.{name}" for name in key) + ")" for key in keys)
    taken = f"EXISTS (SELECT 1 FROM {table} WHERE {there})"  # noqa: S608 our own names
    return [
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} {refuse}",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} {refuse}",
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} WHEN {taken} {refuse}",
    ]


def _keep_on_postgresql(table: str, _keys: tuple[tuple[str, ...], ...]) -> list[str]:
    refuse = "EXECUTE FUNCTION refuse_change()"
    return [
        """CREATE OR REPLACE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN RAISE EXCEPTION '% is kept for good', TG_TABLE_NAME USING ERRCODE = 'HS001'; END $$""",
        f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW {refuse}",
        f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} FOR EACH STATEMENT {refuse}",
    ]


def _create_tables() -> None:
    op.create_table(
        "failed_logins",
        sa.Column("number", COUNTER, autoincrement=True, nullable=False),
        sa.Column("origin", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_failed_logins"),
    )
    op.create_index("ix_failed_logins_origin_at", "failed_logins", ["origin", "at"], unique=False)
    op.create_table(
        "jobs",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("opened_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("opened_by", sa.String(length=300), nullable=False),
        sa.Column("changed_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("last_change", sa.Integer(), nullable=False),
        sa.Column("intake_version", sa.Integer(), nullable=False),
        sa.Column("circuit_version", sa.Integer(), nullable=False),
        sa.Column("customer_name", sa.String(length=300), nullable=True),
        sa.Column("customer_phone", sa.String(length=300), nullable=True),
        sa.Column("customer_email", sa.String(length=300), nullable=True),
        sa.Column("customer_address", sa.String(length=20000), nullable=True),
        sa.Column("search", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "state IN ('open', 'found', 'proven', 'repaired', 'closed')", name="ck_jobs_state"
        ),
        sa.PrimaryKeyConstraint("job_id", name="pk_jobs"),
        sa.UniqueConstraint("number", name="uq_jobs_number"),
    )
    op.create_index("ix_jobs_changed_at", "jobs", ["changed_at"], unique=False)
    op.create_table(
        "owner_links",
        sa.Column("token_hash", sa.String(length=100), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("token_hash", name="pk_owner_links"),
    )
    op.create_table(
        "users",
        sa.Column("folded_name", sa.String(length=100), nullable=False),
        sa.Column("name", sa.String(length=100), nullable=False),
        sa.Column("password_hash", sa.String(length=300), nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("disabled", sa.Boolean(), nullable=False),
        sa.CheckConstraint("role IN ('technician', 'adviser', 'viewer', 'owner')", name="ck_users_role"),
        sa.PrimaryKeyConstraint("folded_name", name="pk_users"),
    )
    op.create_table(
        "workshop",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("address", sa.String(length=20000), nullable=False),
        sa.Column("contact", sa.String(length=20000), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("hourly_rate", sa.String(length=32), nullable=True),
        sa.Column("last_job_number", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name="ck_workshop_one_row"),
        sa.PrimaryKeyConstraint("id", name="pk_workshop"),
    )
    op.create_table(
        "attachments",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("attachment_id", sa.String(length=100), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("media_type", sa.String(length=300), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=300), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_attachments_job_id"),
        sa.CheckConstraint("kind IN ('photo', 'document', 'capture', 'scan')", name="ck_attachments_kind"),
        sa.PrimaryKeyConstraint("job_id", "attachment_id", name="pk_attachments"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "audit",
        sa.Column("number", COUNTER, autoincrement=True, nullable=False),
        sa.Column("job_id", sa.String(length=100), nullable=True),
        sa.Column("sequence", sa.Integer(), nullable=True),
        sa.Column("what", sa.String(length=100), nullable=False),
        sa.Column("ref", sa.String(length=300), nullable=False),
        sa.Column("who", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_audit_job_id"),
        sa.PrimaryKeyConstraint("number", name="pk_audit"),
        sa.UniqueConstraint("job_id", "sequence", name="uq_audit_job_id_sequence"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "authorisations",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("authorisation_id", sa.String(length=100), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("amount", sa.String(length=32), nullable=False),
        sa.Column("currency", sa.String(length=300), nullable=False),
        sa.Column("by_whom", sa.String(length=300), nullable=False),
        sa.Column("how", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=300), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_authorisations_job_id"),
        sa.PrimaryKeyConstraint("job_id", "authorisation_id", name="pk_authorisations"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "circuits",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("text", sa.String(length=1000000), nullable=False),
        sa.Column("who", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_circuits_job_id"),
        sa.PrimaryKeyConstraint("job_id", "version", name="pk_circuits"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "closings",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("complaint", sa.String(length=20000), nullable=False),
        sa.Column("cause", sa.String(length=20000), nullable=False),
        sa.Column("correction", sa.String(length=20000), nullable=False),
        sa.Column("who", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_closings_job_id"),
        sa.PrimaryKeyConstraint("job_id", "sequence", name="pk_closings"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "evidence",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("entry_id", sa.String(length=100), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=100), nullable=False),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("who", sa.String(length=300), nullable=False),
        sa.Column("present", sa.String(length=20), nullable=False),
        sa.Column("instrument", sa.String(length=300), nullable=False),
        sa.Column("serial", sa.String(length=300), nullable=False),
        sa.Column("strikes", sa.String(length=100), nullable=True),
        sa.Column("reason", sa.String(length=20000), nullable=False),
        sa.CheckConstraint("(kind = 'strike') = (strikes IS NOT NULL)", name="ck_evidence_strikes"),
        sa.CheckConstraint("strikes IS NULL OR reason <> ''", name="ck_evidence_reason"),
        sa.ForeignKeyConstraint(
            ["job_id", "strikes"], ["evidence.job_id", "evidence.entry_id"], name="fk_evidence_job_id_strikes"
        ),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_evidence_job_id"),
        sa.CheckConstraint("present IN ('yes', 'no', 'unknown')", name="ck_evidence_present"),
        sa.PrimaryKeyConstraint("job_id", "entry_id", name="pk_evidence"),
        sa.UniqueConstraint("job_id", "sequence", name="uq_evidence_job_id_sequence"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "intakes",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("who", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("complaint_text", sa.String(length=20000), nullable=False),
        sa.Column("complaint_when", sa.String(length=20000), nullable=False),
        sa.Column("complaint_how_often", sa.String(length=20), nullable=False),
        sa.Column("vehicle_vin", sa.String(length=300), nullable=False),
        sa.Column("vehicle_description", sa.String(length=300), nullable=False),
        sa.Column("vehicle_registration", sa.String(length=300), nullable=False),
        sa.Column("vehicle_odometer", sa.Integer(), nullable=True),
        sa.Column("vehicle_odometer_unit", sa.String(length=20), nullable=False),
        sa.Column("battery_volts", sa.Float(), nullable=True),
        sa.Column("battery_celsius", sa.Float(), nullable=True),
        sa.Column("battery_type", sa.String(length=300), nullable=True),
        sa.Column("battery_rested", sa.Boolean(), nullable=True),
        sa.Column("earlier_work", sa.Text(), nullable=False),
        sa.Column("settings_instruments", sa.Text(), nullable=False),
        sa.Column("settings_intermittent", sa.Boolean(), nullable=False),
        sa.Column("settings_seed", sa.BigInteger(), nullable=False),
        sa.Column("settings_currency", sa.String(length=300), nullable=False),
        sa.Column("settings_hourly_rate", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_intakes_job_id"),
        sa.CheckConstraint(
            "complaint_how_often IN ('always', 'intermittent', 'unknown')",
            name="ck_intakes_complaint_how_often",
        ),
        sa.CheckConstraint("vehicle_odometer_unit IN ('km', 'mi')", name="ck_intakes_vehicle_odometer_unit"),
        sa.PrimaryKeyConstraint("job_id", "version", name="pk_intakes"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "parts",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("part_id", sa.String(length=100), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("price", sa.String(length=32), nullable=False),
        sa.Column("quantity", sa.String(length=32), nullable=False),
        sa.Column("use", sa.String(length=20), nullable=False),
        sa.Column("part_number", sa.String(length=300), nullable=False),
        sa.Column("serial", sa.String(length=300), nullable=False),
        sa.Column("old_part_kept", sa.Boolean(), nullable=False),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_parts_job_id"),
        sa.CheckConstraint("use IN ('fitted', 'estimate', 'on suspicion')", name="ck_parts_use"),
        sa.PrimaryKeyConstraint("job_id", "part_id", name="pk_parts"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.String(length=100), nullable=False),
        sa.Column("folded_name", sa.String(length=100), nullable=False),
        sa.Column("csrf_secret", sa.String(length=300), nullable=False),
        sa.Column("created_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["folded_name"], ["users.folded_name"], name="fk_sessions_folded_name"),
        sa.PrimaryKeyConstraint("token_hash", name="pk_sessions"),
    )
    op.create_index("ix_sessions_folded_name", "sessions", ["folded_name"], unique=False)
    op.create_table(
        "shown_results",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(length=100), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("engine_version", sa.String(length=100), nullable=False),
        sa.Column("after", sa.Integer(), nullable=False),
        sa.Column("who", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_shown_results_job_id"),
        sa.PrimaryKeyConstraint("job_id", "sequence", name="pk_shown_results"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "steps",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("step_id", sa.String(length=100), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(length=20000), nullable=False),
        sa.Column("who", sa.String(length=300), nullable=False),
        sa.Column("minutes", sa.Float(), nullable=True),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("stopped_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("entry_id", sa.String(length=100), nullable=True),
        sa.Column("withdrawn", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_steps_job_id"),
        sa.PrimaryKeyConstraint("job_id", "step_id", name="pk_steps"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "entry_attachments",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("entry_id", sa.String(length=100), nullable=False),
        sa.Column("attachment_id", sa.String(length=100), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id", "attachment_id"],
            ["attachments.job_id", "attachments.attachment_id"],
            name="fk_entry_attachments_job_id_attachment_id",
        ),
        sa.ForeignKeyConstraint(
            ["job_id", "entry_id"],
            ["evidence.job_id", "evidence.entry_id"],
            name="fk_entry_attachments_job_id_entry_id",
        ),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_entry_attachments_job_id"),
        sa.PrimaryKeyConstraint("job_id", "entry_id", "attachment_id", name="pk_entry_attachments"),
        sqlite_with_rowid=False,
    )
