"""What a dossier is made from: an allow-list of values, gathered from the records.

Nothing here can name the customer: the order number is the only name. What a document does not
find here it cannot print.
"""

from dataclasses import dataclass
from enum import StrEnum

from spinproof.model.judgement import Judgement
from spinproof.model.load import Load
from spinproof.model.plan import Plan
from spinproof.model.recipe import Recipe
from spinproof.model.run import Outcome, Purpose


class ScopeState(StrEnum):
    """How far a line of the scope has come, and what the customer chose.

    Documents know accepted, declined and supplied by customer only: see `printed`.
    """

    PROPOSED = "proposed"
    RECOMMENDED = "recommended"
    ACCEPTED = "accepted"
    DECLINED = "declined"
    CUSTOMER_SUPPLIED = "supplied by customer"
    DEFERRED = "deferred"
    DONE = "done"
    WITHDRAWN = "withdrawn"

    @property
    def printed(self) -> "ScopeState":
        """What a document calls it: work that is neither agreed nor done is excluded."""
        if self in {ScopeState.ACCEPTED, ScopeState.DONE}:
            return ScopeState.ACCEPTED
        if self is ScopeState.CUSTOMER_SUPPLIED:
            return self
        return ScopeState.DECLINED


@dataclass(frozen=True)
class ScopeLine:
    """Work offered on a head, a position or a shared module."""

    item: str
    """Identity of the line, for example SC-07."""
    unit: str
    """Head or shared module that it belongs to."""
    text: str
    state: ScopeState
    consequence: str | None
    """What follows from declining it."""


@dataclass(frozen=True)
class ConfigurationEntry:
    """A configuration that a head had from some moment on."""

    fingerprint: str
    since: str
    what: str
    """What was changed, and why."""


@dataclass(frozen=True)
class EvidenceItem:
    """A file held by its SHA-256."""

    sha256: str
    name: str
    what: str
    who: str
    at: str


@dataclass(frozen=True)
class Attempt:
    """One run of the burn-in, or the witnessed run, as the ledger holds it."""

    run: str
    number: int
    campaign: int
    purpose: Purpose
    started_at: str
    recipe_name: str
    wafer_count: int
    outcome: Outcome
    void: bool
    """Whether it counted in a campaign that was closed before it was complete."""
    reasons: tuple[str, ...]
    decided_by: str
    """Who classified it; "judge" when the software did."""
    second_name: str | None
    """Who confirmed an outside cause."""
    trace_sha256: str
    judgement_sha256: str
    evidence: tuple[str, ...]
    """SHA-256 of the evidence for its classification."""

    @property
    def recorded(self) -> bool:
        """Whether anything of it was recorded; an attempt without a sample is aborted."""
        return bool(self.trace_sha256)


@dataclass(frozen=True)
class Tally:
    """The attempts of a burn-in; the parts add up to the whole."""

    attempts: int
    counted: int
    void: int
    relevant_failures: int
    invalid: int
    """For an outside cause or by the operator."""
    aborted: int

    def __str__(self) -> str:
        """Give the tally as one line; ``aborted`` shows only when there were any."""
        aborted = f" + aborted {self.aborted}" if self.aborted else ""
        return (
            f"attempts {self.attempts} = counted {self.counted} + void {self.void}"
            f" + relevant failure {self.relevant_failures} + invalid {self.invalid}{aborted}"
        )


@dataclass(frozen=True)
class Claim:
    """What a number of runs supports, at a confidence."""

    runs: int
    failures: int
    confidence: float
    reliability: float
    """One-sided lower bound on the probability that a run is good (Clopper-Pearson)."""
    text: str
    """The claim in words, with what it does not say."""


@dataclass(frozen=True)
class Series:
    """One curve of a chart."""

    name: str
    unit: str
    time_s: tuple[float, ...]
    values: tuple[float | None, ...]


@dataclass(frozen=True)
class RunRecord:
    """One run in full: its recipe, its judgement, and the curves of its figure."""

    attempt: Attempt
    recipe: Recipe
    judgement: Judgement
    series: tuple[Series, ...]
    load: Load | None = None
    """What stood in the slots, as the header of its trace says."""


@dataclass(frozen=True)
class Handover:
    """Everything a dossier says."""

    job: str
    order: str
    shop: str
    machine: str
    head: str
    head_in_words: str
    other_heads: tuple[str, ...]
    """Heads of the machine that are not the subject of this dossier."""
    issued_at: str
    software: str
    simulated: bool
    scope: tuple[ScopeLine, ...]
    configurations: tuple[ConfigurationEntry, ...]
    plan: Plan
    attempts: tuple[Attempt, ...]
    tally: Tally
    claims: tuple[Claim, ...]
    runs: tuple[RunRecord, ...]
    """Every run of the burn-in with its curves, in order."""
    witness: RunRecord | None
    """The customer's recipe, run at the source inspection."""
    evidence: tuple[EvidenceItem, ...]
    audit_entries: int
    audit_head: str
    """Hash of the last entry of the audit trail."""
    limits_name: str
    instruments: tuple[tuple[str, str, str], ...]
    """Instrument, what it measures, and its calibration in words."""

    process_note: str | None = None
    """What the record leaves out by agreement, for example the dry and wet test."""
    issue: int = 1
    """Which dossier of this head it is; a later one supersedes those before it."""

    @property
    def name(self) -> str:
        """What the package is called."""
        later = f"-issue-{self.issue}" if self.issue > 1 else ""
        return f"{self.job}-{self.head}{later}"

    @property
    def exclusions(self) -> tuple[ScopeLine, ...]:
        """Lines the customer declined; they print first."""
        return tuple(line for line in self.scope if line.state is ScopeState.DECLINED)

    @property
    def without_warranty(self) -> tuple[ScopeLine, ...]:
        """Lines the customer supplies; the shop gives no warranty on them."""
        return tuple(line for line in self.scope if line.state is ScopeState.CUSTOMER_SUPPLIED)
