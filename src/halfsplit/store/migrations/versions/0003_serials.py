"""Serial numbers of the workshop's instruments."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the column."""
    column = sa.Column("serials", sa.String(length=20000), nullable=False, server_default="")
    op.add_column("workshop", column)
