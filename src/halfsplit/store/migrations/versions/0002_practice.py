"""Exercises of practice, kept per person."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "practices",
        sa.Column("practice_id", sa.String(length=100), nullable=False),
        sa.Column("person", sa.String(length=300), nullable=False),
        sa.Column("title", sa.String(length=300), nullable=False),
        sa.Column("circuit", sa.String(length=1000000), nullable=False),
        sa.Column("difficulty", sa.String(length=300), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=False),
        sa.Column("begun_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("record", sa.Text(), nullable=False),
        sa.Column("solved", sa.Boolean(), nullable=False),
        sa.Column("points", sa.Integer(), nullable=True),
        sa.Column("minutes", sa.Float(), nullable=False),
        sa.Column("tests", sa.Integer(), nullable=False),
        sa.Column("hints", sa.Integer(), nullable=False),
        sa.Column("wrong", sa.Integer(), nullable=False),
        sa.Column("best_minutes", sa.Float(), nullable=True),
        sa.PrimaryKeyConstraint("practice_id", name="pk_practices"),
    )
    op.create_index("ix_practices_person_begun_at", "practices", ["person", "begun_at"], unique=False)
