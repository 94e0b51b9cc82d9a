"""Which release of the program made the tables what they are."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Make the table, so that an older program can name the release that it needs."""
    op.create_table(
        "release",
        sa.Column("revision", sa.Text, primary_key=True),
        sa.Column("software", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
