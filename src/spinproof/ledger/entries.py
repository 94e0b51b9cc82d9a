"""What the ledger answers: frozen values, one for each kind of record."""

from dataclasses import dataclass
from enum import StrEnum

from spinproof.model.plan import Plan
from spinproof.model.run import Ending, Outcome, Purpose


class UnitKind(StrEnum):
    """What a unit of a machine is."""

    HEAD = "head"
    SHARED_MODULE = "shared module"
    SPARE = "spare part"
    """A part that is worked on by itself, without a head."""


class RunState(StrEnum):
    """How far a run has come."""

    RUNNING = "running"
    """Its number is allotted; the recording runs, or died without being recovered."""
    FINISHED = "finished"
    """Its recording has ended."""
    JUDGED = "judged"
    """It has an outcome."""


class Closing(StrEnum):
    """Why a campaign was closed."""

    COMPLETE = "complete"
    """Every planned run counted; the counted runs keep their count."""
    CONFIGURATION = "configuration changed"
    ENDED_EARLY = "ended early"


@dataclass(frozen=True)
class JobEntry:
    """All work under one order."""

    name: str
    order: str
    """The order as it may be printed."""
    shop: str
    opened_at: str


@dataclass(frozen=True)
class UnitEntry:
    """A head of a machine, or the module that its heads share."""

    designation: str
    job: str
    machine: str
    kind: UnitKind
    position: str
    """Where it sits, for example "lower"; "shared" for a shared module."""
    letter: str
    """What stands for the head in the names of its runs, for example L."""
    in_scope: bool
    words: str


@dataclass(frozen=True)
class KeptPlan:
    """A plan that is kept; it changes no more."""

    sha256: str
    plan: Plan
    kept_at: str


@dataclass(frozen=True)
class CampaignEntry:
    """One attempt at a burn-in under one plan and one configuration."""

    id: int
    head: str
    number: int
    plan_sha256: str
    configuration: str
    """Fingerprint."""
    opened_at: str
    closed_at: str | None
    closing: Closing | None
    closed_because: str | None


@dataclass(frozen=True)
class ClassificationEntry:
    """A decision on what became of a run. The latest one is in force."""

    run: str
    outcome: Outcome
    decided_by: str
    """Who decided; "judge" when the software did."""
    second_name: str | None
    reasons: tuple[str, ...]
    evidence: tuple[str, ...]
    """SHA-256 of the evidence it stands on."""
    at: str


@dataclass(frozen=True)
class JudgementEntry:
    """A judgement of a run, without its content. The latest one is in force."""

    run: str
    sha256: str
    limits_sha256: str
    software: str
    outcome: Outcome
    at: str


@dataclass(frozen=True)
class RunEntry:
    """One execution of a recipe with a load on a head."""

    name: str
    """For example QA-1041-L-017."""
    job: str
    head: str
    number: int
    """Gapless per head."""
    purpose: Purpose
    campaign: int | None
    """Number of the campaign of the head, counted from 1."""
    planned: int | None
    """Number of the planned run that it carries out."""
    recipe_name: str
    recipe_sha256: str
    load_name: str
    load_sha256: str
    wafer_count: int
    head_sha256: str
    configuration: str | None
    """Fingerprint at the start."""
    started_at: str
    state: RunState
    ending: Ending | None
    finished_at: str | None
    trace_sha256: str | None
    outcome: Outcome | None
    """The classification in force."""
    void: bool
    """Whether it counted in a campaign that was closed before it was complete."""


@dataclass(frozen=True)
class AuditEntry:
    """One row of the audit trail."""

    seq: int
    at: str
    who: str
    act: str
    """For example "run.start"."""
    object: str
    """What it was done to, for example "run QA-1041-L-017"."""
    before: str | None
    """Canonical JSON of what was there before."""
    after: str
    """Canonical JSON of what is there since."""
    why: str | None
    previous: str
    """Hash of the row before."""
    sha256: str
    """Hash of this row, over its salt and its content with ``previous``: its leaf in the tree."""
    salt: str | None
    """32 random bytes in hexadecimal digits: who knows the hash alone cannot guess the content."""


@dataclass(frozen=True)
class AuditCheck:
    """What walking the audit trail found."""

    entries: int
    """Rows of the trail."""
    head: str
    """Hash of the last of them."""
    root: str
    """Root of the tree over all of them."""
    findings: tuple[str, ...]
    """Everything that does not hold, in sentences."""
    forks: tuple[str, ...]
    """Heads from elsewhere that an earlier state put back explains."""
    unproved: tuple[str, ...]
    """What this check cannot show."""

    @property
    def broken(self) -> str | None:
        """The first thing that does not hold; None when all does."""
        return self.findings[0] if self.findings else None
