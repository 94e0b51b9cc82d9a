"""Salts of the audit trail; heads of its tree that left the house; states that were put back."""

import sqlalchemy as sa
from alembic import op

from spinproof.ledger.migrations.guards import make_append_only

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Rows written before have no salt, and keep the hash they have."""
    op.add_column("audit", sa.Column("salt", sa.Text))
    op.create_table(
        "anchor",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("log", sa.Text, nullable=False),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("root", sa.Text, nullable=False),
        sa.Column("signature", sa.Text, nullable=False),
        sa.Column("public_key", sa.Text, nullable=False),
        sa.Column("way", sa.Text, nullable=False),
        sa.Column("place", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_table(
        "restoration",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("root", sa.Text, nullable=False),
        sa.Column("backed_up_at", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    for table in ("anchor", "restoration"):
        make_append_only(table, "id")
