"""What the ledger answers about the shop floor: frozen values, one for each kind of record.

``done_at`` is when something was done, as claimed; ``at`` is when it was written down. Where they
differ by more than a minute, the record was entered later, and says so.
"""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from spinproof.ledger.states import PartState
from spinproof.model.attestation import Attestation
from spinproof.model.calculation import Calculation
from spinproof.model.check import Checkpoint
from spinproof.model.handover import ScopeState
from spinproof.model.instrument import Standing
from spinproof.model.job import Process
from spinproof.model.judgement import Verdict
from spinproof.model.limit import Limit
from spinproof.model.matter import Content, MatterKind, StepDetail
from spinproof.model.part import Provenance
from spinproof.model.retest import Change

LATER_S = 60.0
"""A record written down so much later than it was done is called "entered later". [s]"""


def entered_later(done_at: str, at: str) -> bool:
    """Tell whether something was written down long after it was done."""
    return (datetime.fromisoformat(at) - datetime.fromisoformat(done_at)).total_seconds() > LATER_S


class Action(StrEnum):
    """What may be done on a head besides passing its checkpoints."""

    ENERGISE = "energising"
    TURN = "slow spinning"
    """Turning the rotor by its drive, up to 300 rpm."""
    SPIN = "spinning"
    """Turning the rotor by its drive above 300 rpm."""
    COUNT = "counting"
    """Letting a run count towards the burn-in."""
    SHIP = "shipping"


Step = Checkpoint | Action
"""What can be asked for: a checkpoint, or something that is done on the way."""


class Meaning(StrEnum):
    """What a signature of a gate says."""

    PERFORMED = "performed"
    VERIFIED = "verified"


@dataclass(frozen=True)
class Deed:
    """How something was done: why, on what evidence, and when."""

    why: str
    """What was done and why, in plain words."""
    evidence: tuple[str, ...] = ()
    """SHA-256 of evidence of the job."""
    done_at: datetime | None = None
    """When, if not now."""


@dataclass(frozen=True)
class Piece:
    """A part as it is first seen."""

    tag: str
    """With its check character; dashes and spaces are for the eye."""
    words: str
    serial: str | None = None
    lot: str | None = None
    material: str | None = None
    donor_job: str | None = None
    """Job whose machine it was pulled from; for the shop alone."""


@dataclass(frozen=True)
class TermsEntry:
    """How a job is worked."""

    job: str
    process: Process
    rules_sha256: str | None
    """Positions, checks and re-test matrix, as one document."""
    required_runs: int | None
    """Counted runs in a row that the order asks for."""
    change_order: str | None
    who: str
    at: str


@dataclass(frozen=True)
class ScopeStepEntry:
    """A step of a line of the scope."""

    state: ScopeState
    why: str | None
    evidence: tuple[str, ...]
    change_order: str | None
    who: str
    at: str


@dataclass(frozen=True)
class ScopeEntry:
    """A line of the scope with its history."""

    job: str
    item: str
    unit: str
    text: str
    position: str | None
    """Code of the position that it is about."""
    state: ScopeState
    consequence: str | None
    steps: tuple[ScopeStepEntry, ...]

    @property
    def evidence(self) -> tuple[str, ...]:
        """All evidence of its steps."""
        return tuple(sha256 for step in self.steps for sha256 in step.evidence)


@dataclass(frozen=True)
class PartStepEntry:
    """What became of a part at some moment."""

    state: PartState
    unit: str | None
    position: str | None
    provenance: Provenance
    why: str
    evidence: tuple[str, ...]
    done_at: str
    who: str
    at: str


@dataclass(frozen=True)
class PartEntry:
    """An instance of a part with its history."""

    tag: str
    job: str
    code: str
    """Position that it is made for."""
    words: str
    serial: str | None
    lot: str | None
    material: str | None
    donor_job: str | None
    """For the shop alone; never printed."""
    steps: tuple[PartStepEntry, ...]

    @property
    def now(self) -> PartStepEntry:
        """Its latest step."""
        return self.steps[-1]


@dataclass(frozen=True)
class VacancyEntry:
    """A position that was left empty for a reason."""

    unit: str
    position: str
    reason: str
    done_at: str
    who: str
    at: str


@dataclass(frozen=True)
class ChangeEntry:
    """A change of a part, a setting, the program or a limit."""

    unit: str
    change: Change
    what: str
    done_at: str
    who: str
    at: str


@dataclass(frozen=True)
class MatterStepEntry:
    """A step of a matter."""

    state: StrEnum
    detail: StepDetail
    why: str | None
    evidence: tuple[str, ...]
    done_at: str
    who: str
    at: str


@dataclass(frozen=True)
class MatterEntry:
    """A finding, nonconformance, waiver, change order, lockout or bypass, with its history."""

    name: str
    """For example QA-1041-NCR-02."""
    job: str
    unit: str | None
    kind: MatterKind
    content: Content
    steps: tuple[MatterStepEntry, ...]

    @property
    def state(self) -> StrEnum:
        """Where it stands now."""
        return self.steps[-1].state

    @property
    def opened(self) -> MatterStepEntry:
        """Its first step."""
        return self.steps[0]


@dataclass(frozen=True)
class AttestationEntry:
    """A fact that somebody stated."""

    id: int
    job: str | None
    unit: str | None
    content: Attestation
    evidence: tuple[str, ...]
    done_at: str
    who: str
    at: str


@dataclass(frozen=True)
class MeasurementEntry:
    """The answer to one reading of a check."""

    id: int
    unit: str
    """Head or shared module."""
    check: str
    reading: str
    value: float | None
    symbol: str | None
    """Unit of the value."""
    yes: bool | None
    words: str | None
    """Words for the record; also why a reading that not every head has was left out."""
    standard_uncertainty: float | None
    instrument: str | None
    standing: Standing | None
    """What the instrument's word was worth when it was written down."""
    conditions: str
    """Room and supplies, in words."""
    limit: Limit | None
    """As used."""
    verdict: Verdict | None
    conformance: float | None
    rule: str | None
    note: str | None
    supersedes: int | None
    why: str | None
    done_at: str
    who: str
    at: str

    @property
    def is_withdrawn(self) -> bool:
        """Whether it only takes an earlier answer back."""
        return self.value is None and self.yes is None and self.words is None


@dataclass(frozen=True)
class CheckEntry:
    """A check that somebody called finished."""

    id: int
    unit: str
    check: str
    passed: bool
    reasons: tuple[str, ...]
    measurements: tuple[int, ...]
    evidence: tuple[str, ...]
    fingerprint: str | None
    done_at: str
    who: str
    at: str


@dataclass(frozen=True)
class SignatureEntry:
    """A signature of a gate."""

    id: int
    unit: str
    checkpoint: Checkpoint
    meaning: Meaning
    role: str | None
    covers: str
    """Hash of the records that it covers."""
    covered: tuple[tuple[str, str], ...]
    """Those records: what, and which."""
    fingerprint: str | None
    """Configuration of the head at the time."""
    waivers: tuple[str, ...]
    done_at: str
    """The date it bears."""
    who: str
    at: str


@dataclass(frozen=True)
class CalculationEntry:
    """A calculation at the bench that is kept with a job."""

    id: int
    job: str
    unit: str | None
    content: Calculation
    who: str
    at: str
