"""What the pages may show: frozen values by allow-list.

What is not a field here cannot reach a page. No field can hold the customer's identity: the
order number is the only name, as in everything that leaves the shop.
"""

from dataclasses import dataclass
from enum import StrEnum

from spinproof.app.claims import ClaimsInWords
from spinproof.app.live_stop import StopChain
from spinproof.model.handover import (
    Attempt,
    ConfigurationEntry,
    EvidenceItem,
    ScopeLine,
    ScopeState,
    Series,
    Tally,
)
from spinproof.model.judgement import Judgement, Metric, Verdict
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.model.run import Ending, Outcome, Purpose

VOID = "void"
"""What a counted run of a campaign is called that was closed before it was complete."""
NOT_JUDGED = "not judged"
"""What a run is called that has no outcome yet."""
RUNNING = "recording"
"""What a run is called while it is made."""
WORDS = (*(outcome.value for outcome in Outcome), VOID, NOT_JUDGED, RUNNING)
"""Everything a run can be called."""


@dataclass(frozen=True)
class UnitScope:
    """The scope of one head, or of what the heads share."""

    unit: str
    kind: str
    """head, or shared module."""
    lines: tuple[ScopeLine, ...]

    def in_state(self, state: ScopeState) -> tuple[ScopeLine, ...]:
        """Give the lines that the customer chose so."""
        return tuple(line for line in self.lines if line.state is state)

    @property
    def accepted(self) -> tuple[ScopeLine, ...]:
        """Work that was ordered."""
        return self.in_state(ScopeState.ACCEPTED)

    @property
    def declined(self) -> tuple[ScopeLine, ...]:
        """Exclusions: work that was offered and declined."""
        return self.in_state(ScopeState.DECLINED)

    @property
    def supplied(self) -> tuple[ScopeLine, ...]:
        """What the customer supplies, without the shop's warranty."""
        return self.in_state(ScopeState.CUSTOMER_SUPPLIED)


@dataclass(frozen=True)
class HeadCard:
    """One head of a machine, as its job shows it."""

    head: str
    letter: str
    """What stands for the head, large on every page of it."""
    position: str
    """Where it sits, for example "lower"."""
    words: str
    """The head in words, for example "200 mm, on-axis, one cassette"."""
    in_scope: bool
    scope: UnitScope
    tally: Tally | None
    """Absent while there is no burn-in."""
    recording: str | None
    """The run that is recorded at this moment, if any."""


@dataclass(frozen=True)
class MachineView:
    """A frame with its heads, and what they share."""

    machine: str
    heads: tuple[HeadCard, ...]
    """From the top of the machine to its bottom."""
    shared: UnitScope | None


@dataclass(frozen=True)
class JobView:
    """A job: its machines drawn by heads, its scope, its exclusions."""

    job: str
    order: str
    shop: str
    machines: tuple[MachineView, ...]
    simulated: bool
    """Whether any of its runs comes from the virtual head."""
    full: bool
    """Whether it keeps parts, checks and gates; else it was taken in for burn-in only."""

    @property
    def heads(self) -> tuple[HeadCard, ...]:
        """All heads, machine by machine."""
        return tuple(head for machine in self.machines for head in machine.heads)

    @property
    def units(self) -> tuple[UnitScope, ...]:
        """The scope of every head and of every shared module."""
        shared = tuple(machine.shared for machine in self.machines if machine.shared)
        return (*(head.scope for head in self.heads), *shared)

    @property
    def exclusions(self) -> tuple[ScopeLine, ...]:
        """Everything that was declined, on the whole job."""
        return tuple(line for unit in self.units for line in unit.declined)

    @property
    def supplied(self) -> tuple[ScopeLine, ...]:
        """Everything that the customer supplies."""
        return tuple(line for unit in self.units for line in unit.supplied)


@dataclass(frozen=True)
class ShopView:
    """All jobs of the home folder, the newest first."""

    jobs: tuple[JobView, ...]
    packages: int
    """How many packages lie in the folder of dossiers."""

    @property
    def simulated(self) -> bool:
        """Whether anything on the page comes from the virtual head."""
        return any(job.simulated for job in self.jobs)

    @property
    def recordings(self) -> tuple[HeadCard, ...]:
        """Heads whose run is recorded at this moment."""
        return tuple(head for job in self.jobs for head in job.heads if head.recording)


@dataclass(frozen=True)
class CampaignView:
    """One attempt at the burn-in, under one plan and one configuration."""

    number: int
    opened_at: str
    closed_at: str | None
    closed_why: str | None
    fingerprint: str
    planned: int
    tally: Tally


@dataclass(frozen=True)
class RunLine:
    """A run in a list."""

    run: str
    number: int
    campaign: int | None
    purpose: Purpose
    started_at: str
    recipe_name: str
    wafer_count: int
    word: str
    """One of ``WORDS``."""
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class HeadView:
    """A head: its configurations, campaigns and runs."""

    job: JobView
    machine: str
    card: HeadCard
    configurations: tuple[ConfigurationEntry, ...]
    campaigns: tuple[CampaignView, ...]
    attempts: tuple[Attempt, ...]
    """Burn-in runs that have an outcome, in the order they were made: the tally counts these."""
    runs: tuple[RunLine, ...]
    """All runs of the head, in the order they were made."""
    claims: ClaimsInWords
    """What the runs support so far, in words."""

    def called(self, word: str | None) -> tuple[RunLine, ...]:
        """Give the runs that are called so, or all of them."""
        return tuple(run for run in self.runs if word is None or run.word == word)


@dataclass(frozen=True)
class Classification:
    """One decision about what a run is."""

    outcome: Outcome
    reasons: tuple[str, ...]
    by: str
    second_name: str | None
    at: str
    evidence: tuple[EvidenceItem, ...]


@dataclass(frozen=True)
class RunView:
    """A run: what became of it and why, and everything that was measured."""

    job: JobView
    card: HeadCard
    line: RunLine
    recipe: Recipe
    load: Load
    judgement: Judgement | None
    """The one in force; absent before there is one."""
    judgement_sha256: str | None
    trace_sha256: str | None
    ending: Ending | None
    classifications: tuple[Classification, ...]
    """In the order they were made; the last one is in force."""
    previous: str | None
    following: str | None
    simulated: bool

    @property
    def in_force(self) -> Classification | None:
        """The decision that holds."""
        return self.classifications[-1] if self.classifications else None

    @property
    def verdicts(self) -> tuple[Metric, ...]:
        """The metrics that have a limit, those that did not pass first."""
        order = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.NOT_MEASURED, Verdict.PASS)
        judged = [m for m in self._metrics if m.verdict is not None]
        return tuple(sorted(judged, key=lambda m: order.index(m.verdict or Verdict.PASS)))

    @property
    def without_limit(self) -> tuple[Metric, ...]:
        """The metrics that no limit is set for."""
        return tuple(m for m in self._metrics if m.verdict is None)

    @property
    def rules(self) -> tuple[str, ...]:
        """The decision rules that were used, in words."""
        return tuple(sorted({m.rule for m in self._metrics if m.rule}))

    @property
    def _metrics(self) -> tuple[Metric, ...]:
        return self.judgement.metrics if self.judgement else ()

    def step_name(self, number: int | None) -> str:
        """Name the step that a metric belongs to."""
        if number is None or not 1 <= number <= len(self.recipe.steps):
            return "whole run"
        return f"step {number}, {self.recipe.steps[number - 1].name}"


@dataclass(frozen=True)
class TraceView:
    """The curves of a run between two moments, thinned so that no peak is lost."""

    duration_s: float
    from_s: float
    to_s: float
    series: tuple[Series, ...]
    whole: bool
    """Whether every recorded sample of the window is in it."""


@dataclass(frozen=True)
class PackageView:
    """A package in the folder of dossiers, and whether it verifies."""

    name: str
    verified: bool
    trust: str
    """What the signature was compared with, in words."""
    findings: tuple[str, ...]
    """What was changed, added or removed, or why it is no package."""
    fingerprint: str | None
    """Of the certificate inside. [SHA-256, in groups]"""
    head: str | None
    issued_at: str | None
    """Head and date stand in what was signed; absent unless the package verifies."""
    simulated: bool


class LiveState(StrEnum):
    """What the live page of a head shows."""

    WAITING = "waiting"
    """No run of the head is recorded at this moment."""
    RECORDING = "recording"
    ENDED = "ended"
    """The recording that was shown has ended, and no other has begun."""


@dataclass(frozen=True)
class LiveReading:
    """The newest reading of a channel."""

    name: str
    unit: str
    value: float | None
    """None when the device had no reading."""
    resolution: float
    """Value of one count."""


@dataclass(frozen=True)
class LiveTrace:
    """New samples of one trace, with what is expected of it."""

    key: str
    """Tells it from the other traces of its run."""
    name: str
    unit: str
    time_s: tuple[float, ...]
    values: tuple[float | None, ...]
    low: tuple[float | None, ...]
    """Lowest expected reading at each moment; None where nothing is expected."""
    high: tuple[float | None, ...]


@dataclass(frozen=True)
class LiveView:
    """A head at one moment of a recording."""

    state: LiveState
    words: str
    """The state in a sentence."""
    run: str | None
    recipe: str | None
    step: str
    """Number, count and name of the step, as the controller states it."""
    left_s: float | None
    """Time left in the step by its own timer; None while that has not begun. [s]"""
    speed_rpm: float | None
    """None while no tach sees a pulse: that alone does not say that the rotor stands still."""
    readings: tuple[LiveReading, ...]
    curve: Series
    """Speed since the last look, or of the last two minutes at the first one; its name is that of
    the tach it comes from."""
    fresh: bool
    """Whether the curve begins anew."""
    count: str
    """The attempts of the campaign, in words."""
    age_s: float | None
    """Time since the recorder last wrote; None while nothing is recorded. [s]"""
    simulated: bool
    next: str = ""
    """What to do next, in a sentence."""
    basis: str = ""
    """When the step's timer starts, in words."""
    traces: tuple[LiveTrace, ...] = ()
    """The speed first, each since the last look or of the last two minutes."""
    out: tuple[str, ...] = ()
    """What is out of its band now, a sentence each."""
    chain: StopChain | None = None
    """The stop chain; None until the stop command."""
    newest_s: float | None = None
    """The newest sample on the clock of the run. [s]"""
