"""Tables of the ledger. Instants are RFC 3339 text in UTC, documents are canonical JSON text.

The tables named in ``APPEND_ONLY`` refuse UPDATE and DELETE by triggers that the migrations make.
"""

from sqlalchemy import JSON, ForeignKey, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

APPEND_ONLY = (
    "audit",
    "document",
    "configuration",
    "evidence",
    "judgement",
    "classification",
    "anchor",
    "restoration",
)


class Base(DeclarativeBase):
    """The base of all tables."""

    type_annotation_map = {str: Text, list[str]: JSON}  # noqa: RUF012 - read once by SQLAlchemy


class Document(Base):
    """A recipe, load, head spec, set of limits, plan or configuration, held by its hash."""

    __tablename__ = "document"

    sha256: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str]
    name: Mapped[str]
    revision: Mapped[int | None]
    canonical: Mapped[str] = mapped_column(deferred=True)
    """Canonical JSON."""
    kept_at: Mapped[str]


class Job(Base):
    """All work under one order."""

    __tablename__ = "job"

    name: Mapped[str] = mapped_column(primary_key=True)
    order_token: Mapped[str]
    shop: Mapped[str]
    opened_at: Mapped[str]


class Machine(Base):
    """A frame with heads."""

    __tablename__ = "machine"

    designation: Mapped[str] = mapped_column(primary_key=True)
    job: Mapped[str] = mapped_column(ForeignKey("job.name"), index=True)


class Unit(Base):
    """A head, or what the heads of a machine share."""

    __tablename__ = "unit"

    designation: Mapped[str] = mapped_column(primary_key=True)
    machine: Mapped[str] = mapped_column(ForeignKey("machine.designation"), index=True)
    kind: Mapped[str]
    position: Mapped[str]
    letter: Mapped[str]
    in_scope: Mapped[bool]
    words: Mapped[str]


class ScopeItem(Base):
    """A line of the scope."""

    __tablename__ = "scope_item"

    job: Mapped[str] = mapped_column(ForeignKey("job.name"), primary_key=True)
    item: Mapped[str] = mapped_column(primary_key=True)
    unit: Mapped[str] = mapped_column(ForeignKey("unit.designation"))
    text: Mapped[str]
    state: Mapped[str]
    consequence: Mapped[str | None]


class ConfigurationChange(Base):
    """A configuration that a head had from some moment on."""

    __tablename__ = "configuration"

    id: Mapped[int] = mapped_column(primary_key=True)
    head: Mapped[str] = mapped_column(ForeignKey("unit.designation"), index=True)
    fingerprint: Mapped[str] = mapped_column(ForeignKey("document.sha256"))
    since: Mapped[str]
    what: Mapped[str]


class Campaign(Base):
    """One attempt at a burn-in."""

    __tablename__ = "campaign"
    __table_args__ = (UniqueConstraint("head", "number"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    head: Mapped[str] = mapped_column(ForeignKey("unit.designation"))
    number: Mapped[int]
    plan_sha256: Mapped[str] = mapped_column(ForeignKey("document.sha256"))
    configuration: Mapped[str] = mapped_column(ForeignKey("document.sha256"))
    opened_at: Mapped[str]
    closed_at: Mapped[str | None]
    closing: Mapped[str | None]
    closed_because: Mapped[str | None]


class Run(Base):
    """One execution of a recipe with a load on a head."""

    __tablename__ = "run"
    __table_args__ = (UniqueConstraint("head", "number"),)

    name: Mapped[str] = mapped_column(primary_key=True)
    head: Mapped[str] = mapped_column(ForeignKey("unit.designation"))
    number: Mapped[int]
    purpose: Mapped[str]
    campaign: Mapped[int | None] = mapped_column(ForeignKey("campaign.id"), index=True)
    planned: Mapped[int | None]
    recipe_name: Mapped[str]
    recipe_sha256: Mapped[str] = mapped_column(ForeignKey("document.sha256"))
    load_name: Mapped[str]
    load_sha256: Mapped[str] = mapped_column(ForeignKey("document.sha256"))
    wafer_count: Mapped[int]
    head_sha256: Mapped[str] = mapped_column(ForeignKey("document.sha256"))
    configuration: Mapped[str | None] = mapped_column(ForeignKey("document.sha256"))
    started_at: Mapped[str]
    ending: Mapped[str | None]
    finished_at: Mapped[str | None]
    trace_sha256: Mapped[str | None] = mapped_column(unique=True)


class JudgementRow(Base):
    """A judgement of a run."""

    __tablename__ = "judgement"

    id: Mapped[int] = mapped_column(primary_key=True)
    run: Mapped[str] = mapped_column(ForeignKey("run.name"), index=True)
    sha256: Mapped[str]
    canonical: Mapped[str] = mapped_column(deferred=True)
    """Canonical JSON."""
    limits_sha256: Mapped[str] = mapped_column(ForeignKey("document.sha256"))
    software: Mapped[str]
    outcome: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class Classification(Base):
    """A decision on what became of a run."""

    __tablename__ = "classification"

    id: Mapped[int] = mapped_column(primary_key=True)
    run: Mapped[str] = mapped_column(ForeignKey("run.name"), index=True)
    outcome: Mapped[str]
    decided_by: Mapped[str]
    second_name: Mapped[str | None]
    reasons: Mapped[list[str]]
    evidence: Mapped[list[str]]
    """SHA-256 of each piece of evidence."""
    at: Mapped[str]


class Evidence(Base):
    """A file held by its SHA-256; one file belongs to one job."""

    __tablename__ = "evidence"

    sha256: Mapped[str] = mapped_column(primary_key=True)
    job: Mapped[str] = mapped_column(ForeignKey("job.name"), index=True)
    name: Mapped[str]
    what: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class Anchor(Base):
    """A head of the audit trail's tree that left the house, and where it went."""

    __tablename__ = "anchor"

    id: Mapped[int] = mapped_column(primary_key=True)
    log: Mapped[str]
    size: Mapped[int]
    root: Mapped[str]
    signature: Mapped[str]
    """DER, in hexadecimal digits."""
    public_key: Mapped[str]
    """PEM."""
    way: Mapped[str]
    place: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class Restoration(Base):
    """An earlier state that was put back from a backup."""

    __tablename__ = "restoration"

    id: Mapped[int] = mapped_column(primary_key=True)
    size: Mapped[int]
    """Rows of the audit trail that the backup held."""
    root: Mapped[str]
    backed_up_at: Mapped[str]
    why: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class Audit(Base):
    """One row of the audit trail."""

    __tablename__ = "audit"

    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[str]
    who: Mapped[str]
    act: Mapped[str]
    object: Mapped[str]
    before: Mapped[str | None]
    after: Mapped[str]
    why: Mapped[str | None]
    previous: Mapped[str]
    sha256: Mapped[str] = mapped_column(unique=True)
    """Its leaf in the tree."""
    salt: Mapped[str | None]
    """32 random bytes, in hexadecimal digits; rows of the first release have none."""


class Release(Base):
    """A release of the program that made the tables what they are."""

    __tablename__ = "release"

    revision: Mapped[str] = mapped_column(primary_key=True)
    software: Mapped[str]
    at: Mapped[str]
