"""The first tables."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

APPEND_ONLY = {
    "audit": "seq",
    "document": "sha256",
    "configuration": "id",
    "evidence": "sha256",
    "judgement": "id",
    "classification": "id",
}
NEVER_DELETED = ("job", "machine", "unit", "scope_item", "campaign", "run")
NEVER_RENAMED = {"run": ("name", "head", "number", "purpose", "recipe_sha256", "started_at")}


def upgrade() -> None:
    """Make the tables and the triggers that guard them."""
    _make_documents()
    _make_jobs()
    _make_evidence()
    _make_configurations_and_campaigns()
    _make_runs()
    _make_audit()
    guard = _guard_sqlite if op.get_bind().dialect.name == "sqlite" else _guard_postgresql
    guard()


def _make_documents() -> None:
    op.create_table(
        "document",
        sa.Column("sha256", sa.Text, primary_key=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("revision", sa.Integer),
        sa.Column("canonical", sa.Text, nullable=False),
        sa.Column("kept_at", sa.Text, nullable=False),
    )


def _make_jobs() -> None:
    op.create_table(
        "job",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("order_token", sa.Text, nullable=False),
        sa.Column("shop", sa.Text, nullable=False),
        sa.Column("opened_at", sa.Text, nullable=False),
    )
    op.create_table(
        "machine",
        sa.Column("designation", sa.Text, primary_key=True),
        sa.Column("job", sa.Text, sa.ForeignKey("job.name"), nullable=False, index=True),
    )
    op.create_table(
        "unit",
        sa.Column("designation", sa.Text, primary_key=True),
        sa.Column(
            "machine", sa.Text, sa.ForeignKey("machine.designation"), nullable=False, index=True
        ),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("position", sa.Text, nullable=False),
        sa.Column("letter", sa.Text, nullable=False),
        sa.Column("in_scope", sa.Boolean, nullable=False),
        sa.Column("words", sa.Text, nullable=False),
    )
    op.create_table(
        "scope_item",
        sa.Column("job", sa.Text, sa.ForeignKey("job.name"), primary_key=True),
        sa.Column("item", sa.Text, primary_key=True),
        sa.Column("unit", sa.Text, sa.ForeignKey("unit.designation"), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("consequence", sa.Text),
    )


def _make_evidence() -> None:
    op.create_table(
        "evidence",
        sa.Column("sha256", sa.Text, primary_key=True),
        sa.Column("job", sa.Text, sa.ForeignKey("job.name"), nullable=False, index=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )


def _make_configurations_and_campaigns() -> None:
    op.create_table(
        "configuration",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("head", sa.Text, sa.ForeignKey("unit.designation"), nullable=False, index=True),
        sa.Column("fingerprint", sa.Text, sa.ForeignKey("document.sha256"), nullable=False),
        sa.Column("since", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
    )
    op.create_table(
        "campaign",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("head", sa.Text, sa.ForeignKey("unit.designation"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("plan_sha256", sa.Text, sa.ForeignKey("document.sha256"), nullable=False),
        sa.Column("configuration", sa.Text, sa.ForeignKey("document.sha256"), nullable=False),
        sa.Column("opened_at", sa.Text, nullable=False),
        sa.Column("closed_at", sa.Text),
        sa.Column("closing", sa.Text),
        sa.Column("closed_because", sa.Text),
        sa.UniqueConstraint("head", "number"),
    )


def _make_runs() -> None:
    op.create_table(
        "run",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("head", sa.Text, sa.ForeignKey("unit.designation"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("purpose", sa.Text, nullable=False),
        sa.Column("campaign", sa.Integer, sa.ForeignKey("campaign.id"), index=True),
        sa.Column("planned", sa.Integer),
        sa.Column("recipe_name", sa.Text, nullable=False),
        sa.Column("recipe_sha256", sa.Text, sa.ForeignKey("document.sha256"), nullable=False),
        sa.Column("load_name", sa.Text, nullable=False),
        sa.Column("load_sha256", sa.Text, sa.ForeignKey("document.sha256"), nullable=False),
        sa.Column("wafer_count", sa.Integer, nullable=False),
        sa.Column("head_sha256", sa.Text, sa.ForeignKey("document.sha256"), nullable=False),
        sa.Column("configuration", sa.Text, sa.ForeignKey("document.sha256")),
        sa.Column("started_at", sa.Text, nullable=False),
        sa.Column("ending", sa.Text),
        sa.Column("finished_at", sa.Text),
        sa.Column("trace_sha256", sa.Text, unique=True),
        sa.UniqueConstraint("head", "number"),
    )
    op.create_table(
        "judgement",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("run", sa.Text, sa.ForeignKey("run.name"), nullable=False, index=True),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("canonical", sa.Text, nullable=False),
        sa.Column("limits_sha256", sa.Text, sa.ForeignKey("document.sha256"), nullable=False),
        sa.Column("software", sa.Text, nullable=False),
        sa.Column("outcome", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )
    op.create_table(
        "classification",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("run", sa.Text, sa.ForeignKey("run.name"), nullable=False, index=True),
        sa.Column("outcome", sa.Text, nullable=False),
        sa.Column("decided_by", sa.Text, nullable=False),
        sa.Column("second_name", sa.Text),
        sa.Column("reasons", sa.JSON, nullable=False),
        sa.Column("evidence", sa.JSON, nullable=False),
        sa.Column("at", sa.Text, nullable=False),
    )


def _make_audit() -> None:
    op.create_table(
        "audit",
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("act", sa.Text, nullable=False),
        sa.Column("object", sa.Text, nullable=False),
        sa.Column("before", sa.Text),
        sa.Column("after", sa.Text, nullable=False),
        sa.Column("why", sa.Text),
        sa.Column("previous", sa.Text, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False, unique=True),
    )


def _guard_sqlite() -> None:
    for table, key in APPEND_ONLY.items():
        _refuse_sqlite(table, "update", f"BEFORE UPDATE ON {table}")
        # INSERT OR REPLACE deletes the old row without firing a trigger on DELETE
        _refuse_sqlite(
            table,
            "replace",
            f"BEFORE INSERT ON {table} WHEN NEW.{key} IN (SELECT {key} FROM {table})",  # noqa: S608 - the names stand above
        )
    for table in (*APPEND_ONLY, *NEVER_DELETED):
        _refuse_sqlite(table, "delete", f"BEFORE DELETE ON {table}")
    for table, columns in NEVER_RENAMED.items():
        _refuse_sqlite(table, "rename", f"BEFORE UPDATE OF {', '.join(columns)} ON {table}")


def _refuse_sqlite(table: str, what: str, when: str) -> None:
    op.execute(
        f"CREATE TRIGGER {table}_no_{what} {when} "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: {what} refused'); END"
    )


def _guard_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION spinproof_refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION '% is append-only: % refused', TG_TABLE_NAME, lower(TG_OP); END $$"
    )
    for table in (*APPEND_ONLY, *NEVER_DELETED):
        events = "UPDATE OR DELETE" if table in APPEND_ONLY else "DELETE"
        _refuse_postgresql(table, "change", f"BEFORE {events} ON {table} FOR EACH ROW")
        _refuse_postgresql(table, "truncate", f"BEFORE TRUNCATE ON {table} FOR EACH STATEMENT")
    for table, columns in NEVER_RENAMED.items():
        when = f"BEFORE UPDATE OF {', '.join(columns)} ON {table} FOR EACH ROW"
        _refuse_postgresql(table, "rename", when)


def _refuse_postgresql(table: str, what: str, when: str) -> None:
    op.execute(f"CREATE TRIGGER {table}_no_{what} {when} EXECUTE FUNCTION spinproof_refuse()")
