"""Tables of the shop floor: scope, parts, matters, instruments, measurements, signatures.

Rows are added and never changed: what a thing is now follows from its latest row. ``done_at`` is
when something was done, as claimed; ``at`` is when it was written down.
"""

from typing import Any

from sqlalchemy import JSON, ForeignKey, ForeignKeyConstraint
from sqlalchemy.orm import Mapped, mapped_column

from spinproof.ledger.tables import Base

UNIT = "unit.designation"


class Terms(Base):
    """How a job is worked: its process, its rules, the runs it needs. The latest row holds."""

    __tablename__ = "terms"

    id: Mapped[int] = mapped_column(primary_key=True)
    job: Mapped[str] = mapped_column(ForeignKey("job.name"), index=True)
    process: Mapped[str]
    rules_sha256: Mapped[str | None] = mapped_column(ForeignKey("document.sha256"))
    required_runs: Mapped[int | None]
    change_order: Mapped[str | None] = mapped_column(ForeignKey("matter.name"))
    who: Mapped[str]
    at: Mapped[str]


class ScopeStep(Base):
    """A step of a line of the scope, from proposal to done."""

    __tablename__ = "scope_step"
    __table_args__ = (ForeignKeyConstraint(["job", "item"], ["scope_item.job", "scope_item.item"]),)

    id: Mapped[int] = mapped_column(primary_key=True)
    job: Mapped[str] = mapped_column(index=True)
    item: Mapped[str]
    state: Mapped[str]
    position: Mapped[str | None]
    change_order: Mapped[str | None] = mapped_column(ForeignKey("matter.name"))
    evidence: Mapped[list[str]]
    why: Mapped[str | None]
    who: Mapped[str]
    at: Mapped[str]


class Part(Base):
    """An instance of a part; its tag is never used again."""

    __tablename__ = "part"

    tag: Mapped[str] = mapped_column(primary_key=True)
    job: Mapped[str] = mapped_column(ForeignKey("job.name"), index=True)
    code: Mapped[str]
    """Position that it is made for."""
    words: Mapped[str]
    serial: Mapped[str | None]
    lot: Mapped[str | None]
    material: Mapped[str | None]
    donor_job: Mapped[str | None]
    """For the shop alone; never printed."""
    who: Mapped[str]
    at: Mapped[str]


class PartStep(Base):
    """What became of a part, and where it sits."""

    __tablename__ = "part_step"

    id: Mapped[int] = mapped_column(primary_key=True)
    tag: Mapped[str] = mapped_column(ForeignKey("part.tag"), index=True)
    state: Mapped[str]
    unit: Mapped[str | None] = mapped_column(ForeignKey(UNIT), index=True)
    position: Mapped[str | None]
    provenance: Mapped[str]
    why: Mapped[str]
    evidence: Mapped[list[str]]
    done_at: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class Vacancy(Base):
    """A position that is empty for a reason."""

    __tablename__ = "vacancy"

    id: Mapped[int] = mapped_column(primary_key=True)
    unit: Mapped[str] = mapped_column(ForeignKey(UNIT), index=True)
    position: Mapped[str]
    reason: Mapped[str]
    done_at: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class HeadChange(Base):
    """A change of a part, a setting, the program or a limit."""

    __tablename__ = "head_change"

    id: Mapped[int] = mapped_column(primary_key=True)
    unit: Mapped[str] = mapped_column(ForeignKey(UNIT), index=True)
    kind: Mapped[str]
    name: Mapped[str]
    what: Mapped[str]
    done_at: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class Matter(Base):
    """A finding, nonconformance, waiver, change order, lockout or bypass."""

    __tablename__ = "matter"

    name: Mapped[str] = mapped_column(primary_key=True)
    job: Mapped[str] = mapped_column(ForeignKey("job.name"), index=True)
    unit: Mapped[str | None] = mapped_column(ForeignKey(UNIT), index=True)
    kind: Mapped[str]
    number: Mapped[int]
    content: Mapped[dict[str, Any]] = mapped_column(JSON)
    done_at: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class MatterStep(Base):
    """A step of a matter; the first one is written when it is opened."""

    __tablename__ = "matter_step"

    id: Mapped[int] = mapped_column(primary_key=True)
    matter: Mapped[str] = mapped_column(ForeignKey("matter.name"), index=True)
    state: Mapped[str]
    detail: Mapped[dict[str, Any]] = mapped_column(JSON)
    why: Mapped[str | None]
    evidence: Mapped[list[str]]
    done_at: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class AttestationRow(Base):
    """A fact that somebody stated."""

    __tablename__ = "attestation"

    id: Mapped[int] = mapped_column(primary_key=True)
    job: Mapped[str | None] = mapped_column(ForeignKey("job.name"), index=True)
    unit: Mapped[str | None] = mapped_column(ForeignKey(UNIT), index=True)
    kind: Mapped[str]
    content: Mapped[dict[str, Any]] = mapped_column(JSON)
    evidence: Mapped[list[str]]
    done_at: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class InstrumentRow(Base):
    """An instrument of the shop."""

    __tablename__ = "instrument"

    name: Mapped[str] = mapped_column(primary_key=True)
    kind: Mapped[str]
    words: Mapped[str]
    ranges: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    who: Mapped[str]
    at: Mapped[str]


class InstrumentEvent(Base):
    """A calibration of an instrument, or a check between two calibrations."""

    __tablename__ = "instrument_event"

    id: Mapped[int] = mapped_column(primary_key=True)
    instrument: Mapped[str] = mapped_column(ForeignKey("instrument.name"), index=True)
    kind: Mapped[str]
    content: Mapped[dict[str, Any]] = mapped_column(JSON)
    who: Mapped[str]
    at: Mapped[str]


class MeasurementRow(Base):
    """The answer to one reading of a check."""

    __tablename__ = "measurement"

    id: Mapped[int] = mapped_column(primary_key=True)
    unit: Mapped[str] = mapped_column(ForeignKey(UNIT), index=True)
    check_id: Mapped[str]
    reading: Mapped[str]
    value: Mapped[float | None]
    symbol: Mapped[str | None]
    """Unit of the value."""
    yes: Mapped[bool | None]
    words: Mapped[str | None]
    standard_uncertainty: Mapped[float | None]
    instrument: Mapped[str | None] = mapped_column(ForeignKey("instrument.name"), index=True)
    standing: Mapped[str | None]
    conditions: Mapped[str]
    limit_used: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))
    verdict: Mapped[str | None]
    conformance: Mapped[float | None]
    rule: Mapped[str | None]
    note: Mapped[str | None]
    supersedes: Mapped[int | None] = mapped_column(ForeignKey("measurement.id"))
    why: Mapped[str | None]
    done_at: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class CheckResult(Base):
    """A check that somebody calls finished, with the readings that it stands on."""

    __tablename__ = "check_result"

    id: Mapped[int] = mapped_column(primary_key=True)
    unit: Mapped[str] = mapped_column(ForeignKey(UNIT), index=True)
    check_id: Mapped[str]
    passed: Mapped[bool]
    reasons: Mapped[list[str]]
    """Why it is not passed; empty when it is."""
    measurements: Mapped[list[int]] = mapped_column(JSON)
    evidence: Mapped[list[str]]
    fingerprint: Mapped[str | None] = mapped_column(ForeignKey("document.sha256"))
    done_at: Mapped[str]
    who: Mapped[str]
    at: Mapped[str]


class Signature(Base):
    """A signature of a gate."""

    __tablename__ = "signature"

    id: Mapped[int] = mapped_column(primary_key=True)
    unit: Mapped[str] = mapped_column(ForeignKey(UNIT), index=True)
    checkpoint: Mapped[str]
    meaning: Mapped[str]
    role: Mapped[str | None]
    covers: Mapped[str]
    """Hash of the records that it covers."""
    covered: Mapped[dict[str, Any]] = mapped_column(JSON)
    """Those records, by name."""
    fingerprint: Mapped[str | None] = mapped_column(ForeignKey("document.sha256"))
    waivers: Mapped[list[str]]
    done_at: Mapped[str]
    """The date it bears."""
    who: Mapped[str]
    at: Mapped[str]


class CalculationRow(Base):
    """A calculation at the bench that is kept with the job."""

    __tablename__ = "calculation"

    id: Mapped[int] = mapped_column(primary_key=True)
    job: Mapped[str] = mapped_column(ForeignKey("job.name"), index=True)
    unit: Mapped[str | None] = mapped_column(ForeignKey(UNIT), index=True)
    calculator: Mapped[str]
    content: Mapped[dict[str, Any]] = mapped_column(JSON)
    who: Mapped[str]
    at: Mapped[str]


ACTS: dict[str, type[Base]] = {
    "terms.set": Terms,
    "scope.step": ScopeStep,
    "part.add": Part,
    "part.step": PartStep,
    "position.leave-empty": Vacancy,
    "head.change": HeadChange,
    "matter.open": Matter,
    "matter.step": MatterStep,
    "fact.state": AttestationRow,
    "instrument.add": InstrumentRow,
    "instrument.event": InstrumentEvent,
    "check.measure": MeasurementRow,
    "check.finish": CheckResult,
    "gate.sign": Signature,
    "calculation.keep": CalculationRow,
}
"""What can be done on the shop floor, and the table that it adds to."""
