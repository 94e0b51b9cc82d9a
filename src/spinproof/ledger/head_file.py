"""Everything on record about one head: what rules look at and gates are decided from."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any, TypeVar

from spinproof.ledger.entries import CampaignEntry, RunEntry, UnitEntry, UnitKind
from spinproof.ledger.shop_entries import (
    AttestationEntry,
    ChangeEntry,
    CheckEntry,
    MatterEntry,
    MeasurementEntry,
    PartEntry,
    PartStepEntry,
    ScopeEntry,
    SignatureEntry,
    TermsEntry,
    VacancyEntry,
)
from spinproof.ledger.states import (
    BypassState,
    LockoutState,
    NonconformanceState,
    PartState,
    WaiverState,
)
from spinproof.model.errors import GateClosedError
from spinproof.model.handover import Attempt, ConfigurationEntry, EvidenceItem
from spinproof.model.instrument import InstrumentRecord
from spinproof.model.job import Process
from spinproof.model.matter import Content, MatterKind, Nonconformance, Waiver
from spinproof.model.noun import Noun
from spinproof.model.part import Belongs, Position
from spinproof.model.plan import Plan
from spinproof.model.retest import Retest, checks_to_repeat
from spinproof.model.shop_rules import ShopRules

F = TypeVar("F", bound=Noun)


@dataclass(frozen=True)
class LoadFacts:
    """What the load of a run does to the rotor of an off-axis head."""

    unbalance_g_mm: float
    limit_g_mm: float
    force_n: float
    """Centrifugal force at the highest speed of the recipe. [N]"""
    dummies: tuple[int, ...] = ()
    """Slots that need a dummy so that the cassettes face equal numbers."""


@dataclass(frozen=True)
class HeadFile:
    """The records of one head, with those of its shared module and of its job."""

    unit: UnitEntry
    shared: UnitEntry | None
    terms: TermsEntry
    order: str
    """The order as it may be printed."""
    today: date
    """Day on which the file was opened; waivers end by it."""
    rules: ShopRules | None
    scope: tuple[ScopeEntry, ...]
    """Of the whole job."""
    parts: tuple[PartEntry, ...]
    """That sit, or once sat, in the head or the shared module."""
    vacancies: tuple[VacancyEntry, ...]
    changes: tuple[ChangeEntry, ...]
    """Of the head and of the shared module, in order."""
    matters: tuple[MatterEntry, ...]
    """Of the head, of the shared module, and of the job as a whole."""
    facts: tuple[AttestationEntry, ...]
    """Stated of the head, of the shared module, of the job, and of the shop."""
    instruments: Mapping[str, InstrumentRecord]
    measurements: tuple[MeasurementEntry, ...]
    checks: tuple[CheckEntry, ...]
    signatures: tuple[SignatureEntry, ...]
    configurations: tuple[ConfigurationEntry, ...]
    configuration_documents: Mapping[str, Mapping[str, Any]]
    """What each fingerprint stands for."""
    campaigns: tuple[CampaignEntry, ...]
    plan: Plan | None
    """Plan of the last campaign."""
    runs: tuple[RunEntry, ...]
    attempts: tuple[Attempt, ...]
    loads: Mapping[str, LoadFacts]
    """By run; for off-axis heads only."""
    evidence: tuple[EvidenceItem, ...]
    """Of the job."""

    @property
    def is_full(self) -> bool:
        """Whether every checkpoint is in the record."""
        return self.terms.process is Process.FULL

    @property
    def where(self) -> str:
        """The head, for messages."""
        return f"{self.unit.kind} {self.unit.designation}"

    def require_rules(self) -> ShopRules:
        """Give the shop's rules; the job must have been taken in under the full process.

        Raises
        ------
        GateClosedError
            If the job is burn-in only.
        """
        if self.rules is None:
            raise GateClosedError(
                "the job was taken in for burn-in only: it has no checks and no gates before it",
                where=f"job {self.unit.job}",
                mend='Take jobs in with process = "full" to keep them.',
            )
        return self.rules

    @cached_property
    def unit_names(self) -> tuple[str, ...]:
        """The head and its shared module."""
        shared = () if self.shared is None else (self.shared.designation,)
        return (self.unit.designation, *shared)

    @cached_property
    def positions(self) -> tuple[Position, ...]:
        """Positions of this unit by the shop's rules."""
        if self.rules is None or self.unit.kind is UnitKind.SPARE:
            return ()
        shared = self.unit.kind is UnitKind.SHARED_MODULE
        return self.rules.positions.of(Belongs.SHARED if shared else Belongs.HEAD)

    @cached_property
    def occupants(self) -> Mapping[tuple[str, str], tuple[PartEntry, ...]]:
        """Parts by unit and position where they sit now."""
        found: dict[tuple[str, str], tuple[PartEntry, ...]] = {}
        for part in self.parts:
            now = part.now
            if now.state is PartState.IN_POSITION and now.unit and now.position:
                key = (now.unit, now.position)
                found[key] = (*found.get(key, ()), part)
        return found

    def occupant(self, position: str) -> PartEntry | None:
        """Give the part that sits in a position of this unit."""
        found = self.occupants.get((self.unit.designation, position), ())
        return found[0] if found else None

    def vacancy(self, position: str) -> VacancyEntry | None:
        """Give why a position of this unit is empty, unless a part was fitted since."""
        left = [
            v for v in self.vacancies if v.unit == self.unit.designation and v.position == position
        ]
        if not left or self.occupant(position) is not None:
            return None
        moved = [s.done_at for _, s in self.steps_at(position)]
        return left[-1] if left[-1].done_at >= max(moved, default="") else None

    def steps_at(self, position: str) -> tuple[tuple[PartEntry, PartStepEntry], ...]:
        """Give what was fitted to and taken from a position of this unit, in order of time."""
        found = [
            (part, step)
            for part in self.parts
            for step in part.steps
            if (step.unit, step.position) == (self.unit.designation, position)
        ]
        return tuple(sorted(found, key=lambda pair: pair[1].done_at))

    def of_kind(self, kind: MatterKind) -> tuple[MatterEntry, ...]:
        """Give the matters of one kind."""
        return tuple(matter for matter in self.matters if matter.kind is kind)

    @cached_property
    def blocking(self) -> tuple[MatterEntry, ...]:
        """Nonconformances of safety and function that are not closed."""
        return tuple(
            matter
            for matter in self.of_kind(MatterKind.NONCONFORMANCE)
            if matter.state is not NonconformanceState.CLOSED
            and isinstance(matter.content, Nonconformance)
            and matter.content.severity.blocks_a_gate
        )

    @cached_property
    def open_lockouts(self) -> tuple[MatterEntry, ...]:
        """Locks that are on."""
        locks = self.of_kind(MatterKind.LOCKOUT)
        return tuple(lock for lock in locks if lock.state is LockoutState.OPEN)

    @cached_property
    def bypasses(self) -> tuple[MatterEntry, ...]:
        """Interlocks that are bridged."""
        bridged = self.of_kind(MatterKind.BYPASS)
        return tuple(each for each in bridged if each.state is BypassState.ACTIVE)

    @cached_property
    def waivers(self) -> Mapping[str, str]:
        """Waivers in force: their names by what they waive."""
        found: dict[str, str] = {}
        for matter in self.of_kind(MatterKind.WAIVER):
            content: Content = matter.content
            if isinstance(content, Waiver) and matter.state is WaiverState.IN_FORCE:
                ended = content.until is not None and content.until < self.today
                found |= {} if ended else {content.subject: matter.name}
        return found

    def stated(self, kind: type[F]) -> tuple[tuple[AttestationEntry, F], ...]:
        """Give the facts of one kind that were stated, in order, each with its entry."""
        return tuple(
            (entry, entry.content) for entry in self.facts if isinstance(entry.content, kind)
        )

    @cached_property
    def evidence_by_hash(self) -> Mapping[str, EvidenceItem]:
        """The job's evidence by its SHA-256."""
        return {item.sha256: item for item in self.evidence}

    @cached_property
    def retests(self) -> tuple[Retest, ...]:
        """What follows from each change, in the order of the changes."""
        if self.rules is None:
            return ()
        return tuple(
            checks_to_repeat(self.rules.matrix, [change.change], self.rules.sheets)
            for change in self.changes
        )

    @property
    def fingerprint(self) -> str | None:
        """Present configuration of the head."""
        return self.configurations[-1].fingerprint if self.configurations else None
