"""Calculations at the bench, kept with the job."""

import sqlalchemy as sa
from alembic import op

from spinproof.ledger.migrations.guards import make_append_only

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "calculation",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("job", sa.Text, sa.ForeignKey("job.name"), nullable=False, index=True),
        sa.Column("unit", sa.Text, sa.ForeignKey("unit.designation"), index=True),
        sa.Column("calculator", sa.Text, nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    make_append_only("calculation", "id")
