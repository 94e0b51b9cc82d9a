"""Terms, parts, matters, instruments, measurements, checks and signatures of the shop floor."""

import sqlalchemy as sa
from alembic import op

from spinproof.ledger.migrations.guards import make_append_only

revision = "0004"
down_revision = "0003"

KEYS = {
    "matter": "name",
    "matter_step": "id",
    "attestation": "id",
    "terms": "id",
    "scope_step": "id",
    "part": "tag",
    "part_step": "id",
    "vacancy": "id",
    "head_change": "id",
    "instrument": "name",
    "instrument_event": "id",
    "measurement": "id",
    "check_result": "id",
    "signature": "id",
}
"""Primary key by table."""


def upgrade() -> None:
    """Make the tables; jobs of an earlier release have no terms and stay burn-in only."""
    _make_matters()
    _make_terms_and_scope()
    _make_parts()
    _make_instruments()
    _make_checks()
    _make_signatures()
    for table, key in KEYS.items():
        make_append_only(table, key)


def _make_matters() -> None:
    op.create_table(
        "matter",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("job", sa.Text, sa.ForeignKey("job.name"), nullable=False, index=True),
        sa.Column("unit", sa.Text, sa.ForeignKey("unit.designation"), index=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sa.Column("done_at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_table(
        "matter_step",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("matter", sa.Text, sa.ForeignKey("matter.name"), nullable=False, index=True),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("detail", sa.JSON, nullable=False),
        sa.Column("why", sa.Text),
        sa.Column("evidence", sa.JSON, nullable=False),
        sa.Column("done_at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_table(
        "attestation",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("job", sa.Text, sa.ForeignKey("job.name"), index=True),
        sa.Column("unit", sa.Text, sa.ForeignKey("unit.designation"), index=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sa.Column("evidence", sa.JSON, nullable=False),
        sa.Column("done_at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )


def _make_terms_and_scope() -> None:
    op.create_table(
        "terms",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("job", sa.Text, sa.ForeignKey("job.name"), nullable=False, index=True),
        sa.Column("process", sa.Text, nullable=False),
        sa.Column("rules_sha256", sa.Text, sa.ForeignKey("document.sha256")),
        sa.Column("required_runs", sa.Integer),
        sa.Column("change_order", sa.Text, sa.ForeignKey("matter.name")),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_table(
        "scope_step",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("job", sa.Text, nullable=False, index=True),
        sa.Column("item", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("position", sa.Text),
        sa.Column("change_order", sa.Text, sa.ForeignKey("matter.name")),
        sa.Column("evidence", sa.JSON, nullable=False),
        sa.Column("why", sa.Text),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.ForeignKeyConstraint(["job", "item"], ["scope_item.job", "scope_item.item"]),
    )


def _make_parts() -> None:
    op.create_table(
        "part",
        sa.Column("tag", sa.Text, primary_key=True),
        sa.Column("job", sa.Text, sa.ForeignKey("job.name"), nullable=False, index=True),
        sa.Column("code", sa.Text, nullable=False),
        sa.Column("words", sa.Text, nullable=False),
        sa.Column("serial", sa.Text),
        sa.Column("lot", sa.Text),
        sa.Column("material", sa.Text),
        sa.Column("donor_job", sa.Text),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_table(
        "part_step",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("tag", sa.Text, sa.ForeignKey("part.tag"), nullable=False, index=True),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("unit", sa.Text, sa.ForeignKey("unit.designation"), index=True),
        sa.Column("position", sa.Text),
        sa.Column("provenance", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("evidence", sa.JSON, nullable=False),
        sa.Column("done_at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_table(
        "vacancy",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("unit", sa.Text, sa.ForeignKey("unit.designation"), nullable=False, index=True),
        sa.Column("position", sa.Text, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("done_at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_table(
        "head_change",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("unit", sa.Text, sa.ForeignKey("unit.designation"), nullable=False, index=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("done_at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )


def _make_instruments() -> None:
    op.create_table(
        "instrument",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("words", sa.Text, nullable=False),
        sa.Column("ranges", sa.JSON, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_table(
        "instrument_event",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column(
            "instrument", sa.Text, sa.ForeignKey("instrument.name"), nullable=False, index=True
        ),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )


def _make_checks() -> None:
    op.create_table(
        "measurement",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("unit", sa.Text, sa.ForeignKey("unit.designation"), nullable=False, index=True),
        sa.Column("check_id", sa.Text, nullable=False),
        sa.Column("reading", sa.Text, nullable=False),
        sa.Column("value", sa.Double),
        sa.Column("symbol", sa.Text),
        sa.Column("yes", sa.Boolean),
        sa.Column("words", sa.Text),
        sa.Column("standard_uncertainty", sa.Double),
        sa.Column("instrument", sa.Text, sa.ForeignKey("instrument.name"), index=True),
        sa.Column("standing", sa.Text),
        sa.Column("conditions", sa.Text, nullable=False),
        sa.Column("limit_used", sa.JSON),
        sa.Column("verdict", sa.Text),
        sa.Column("conformance", sa.Double),
        sa.Column("rule", sa.Text),
        sa.Column("note", sa.Text),
        sa.Column("supersedes", sa.Integer, sa.ForeignKey("measurement.id")),
        sa.Column("why", sa.Text),
        sa.Column("done_at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_table(
        "check_result",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("unit", sa.Text, sa.ForeignKey("unit.designation"), nullable=False, index=True),
        sa.Column("check_id", sa.Text, nullable=False),
        sa.Column("passed", sa.Boolean, nullable=False),
        sa.Column("reasons", sa.JSON, nullable=False),
        sa.Column("measurements", sa.JSON, nullable=False),
        sa.Column("evidence", sa.JSON, nullable=False),
        sa.Column("fingerprint", sa.Text, sa.ForeignKey("document.sha256")),
        sa.Column("done_at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )


def _make_signatures() -> None:
    op.create_table(
        "signature",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("unit", sa.Text, sa.ForeignKey("unit.designation"), nullable=False, index=True),
        sa.Column("checkpoint", sa.Text, nullable=False),
        sa.Column("meaning", sa.Text, nullable=False),
        sa.Column("role", sa.Text),
        sa.Column("covers", sa.Text, nullable=False),
        sa.Column("covered", sa.JSON, nullable=False),
        sa.Column("fingerprint", sa.Text, sa.ForeignKey("document.sha256")),
        sa.Column("waivers", sa.JSON, nullable=False),
        sa.Column("done_at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
