"""Adapters by which a vehicle may be read from the browser."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the column."""
    column = sa.Column("adapters", sa.String(length=20000), nullable=False, server_default="")
    op.add_column("workshop", column)
