"""People, their devices, and how they prove who they are."""

import sqlalchemy as sa
from alembic import op

from spinproof.ledger.migrations.guards import (
    forbid_changing,
    forbid_deleting,
    make_append_only,
)

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the tables; a ledger of an earlier release has no people yet."""
    _make_people()
    _make_secrets()
    make_append_only("proof", "id")
    for table, columns in {
        "person": ("name", "added_at"),
        "device": ("name", "enrolled_at"),
    }.items():
        forbid_deleting(table)
        forbid_changing(table, columns)


def _make_people() -> None:
    op.create_table(
        "person",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("role", sa.Text, nullable=False),
        sa.Column("active", sa.Boolean, nullable=False),
        sa.Column("added_at", sa.Text, nullable=False),
        sa.Column("password_since", sa.Text),
        sa.Column("pin_since", sa.Text),
    )
    op.create_table(
        "device",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("enrolled_at", sa.Text, nullable=False),
        sa.Column("retired_at", sa.Text),
    )
    op.create_table(
        "proof",
        sa.Column("id", sa.Integer, primary_key=True),
        _person(),
        sa.Column("means", sa.Text, nullable=False),
        sa.Column("purpose", sa.Text, nullable=False),
        sa.Column("accepted", sa.Boolean, nullable=False),
        _device(),
        sa.Column("beyond", sa.Boolean, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )


def _make_secrets() -> None:
    op.create_table(
        "credential",
        sa.Column("kind", sa.Text, primary_key=True),
        sa.Column("owner", sa.Text, primary_key=True),
        sa.Column("hash", sa.Text, nullable=False),
    )
    op.create_table(
        "session",
        sa.Column("sha256", sa.Text, primary_key=True),
        _person(),
        _device(),
        sa.Column("beyond", sa.Boolean, nullable=False),
        sa.Column("began_at", sa.Text, nullable=False),
        sa.Column("seen_at", sa.Text, nullable=False),
        sa.Column("proved_at", sa.Text, nullable=False),
        sa.Column("ended_at", sa.Text),
    )
    op.create_table(
        "form_key",
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("person", sa.Text, nullable=False),
        sa.Column("action", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False, index=True),
        sa.Column("location", sa.Text),
    )


def _person() -> sa.Column[str]:
    return sa.Column("person", sa.Text, sa.ForeignKey("person.name"), nullable=False, index=True)


def _device() -> sa.Column[str]:
    return sa.Column("device", sa.Text, sa.ForeignKey("device.name"))
