"""What closed jobs taught, kept so that each is worked out once."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Create the table."""
    op.create_table(
        "lessons",
        sa.Column("job_id", sa.String(length=100), nullable=False),
        sa.Column("engine_version", sa.String(length=100), nullable=False),
        sa.Column("after", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.job_id"], name="fk_lessons_job_id_jobs"),
        sa.PrimaryKeyConstraint("job_id", name="pk_lessons"),
    )
