"""What people do with parts, findings and the scope, each in one transaction."""

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date, datetime

from spinproof.app.clock import utc_now
from spinproof.app.part_views import FindingView, evidence_words, finding_view, scope_refusal
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.records import Records
from spinproof.ledger.shop_entries import Deed, PartEntry, Piece
from spinproof.ledger.states import ChangeOrderState as ChangeOrderState
from spinproof.ledger.states import FindingState as FindingState
from spinproof.ledger.states import LockoutState
from spinproof.ledger.states import PartState as PartState
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import ScopeState
from spinproof.model.matter import ChangeOrder, Finding, Lockout, MatterKind, StepDetail
from spinproof.model.part import Provenance
from spinproof.model.tag import parse_tag


@dataclass(frozen=True)
class Act:
    """Who does something, why, on what evidence, and when."""

    by: str
    why: str
    evidence: str = ""
    """As a page offers it, or nothing."""
    done_at: datetime | None = None
    """When, if not now."""


@dataclass(frozen=True)
class NewPart:
    """A part as it is first seen."""

    tag: str
    words: str
    serial: str | None = None
    lot: str | None = None
    material: str | None = None

    @property
    def piece(self) -> Piece:
        """As the ledger takes it."""
        return Piece(self.tag, self.words, self.serial, self.lot, self.material)


class PartDesk:
    """Records what people do with parts, findings and the scope.

    Parameters
    ----------
    ledger : Ledger
        Where it is recorded.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger

    def record_found(self, unit: str, code: str, part: NewPart, act: Act) -> PartEntry:
        """Record the part that came with a head, where it sits."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            deed = deed_of(records, records.unit(unit).job, act)
            return records.record_as_found(unit, code, part.piece, deed)

    def fit(
        self, unit: str, code: str, tag: str, provenance: Provenance | None, act: Act
    ) -> PartEntry:
        """Fit a part; what sat there is taken out in the same change.

        Raises
        ------
        GateClosedError
            If the customer declined work there, and it is not the part that came from there.
        """
        with self._ledger.transaction(act.by, utc_now()) as records:
            deed = deed_of(records, records.unit(unit).job, act)
            _require_wanted(records, unit, code, tag)
            taken = records.head_file(unit, _today()).occupant(code) is not None
            put = records.replace_part if taken else records.install_part
            return put(unit, code, tag, deed, provenance)

    def take_out(self, unit: str, code: str, act: Act) -> PartEntry:
        """Take the part of a position out."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            return records.remove_part(unit, code, deed_of(records, records.unit(unit).job, act))

    def leave_empty(self, unit: str, code: str, act: Act) -> None:
        """Record that a position is empty, and why."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            records.leave_empty(unit, code, deed_of(records, records.unit(unit).job, act))

    def move(
        self, tag: str, state: PartState, provenance: Provenance | None, act: Act
    ) -> PartEntry:
        """Record what becomes of a part outside a head."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            part = records.part(parse_tag(tag, records.tags()))
            return records.move_part(tag, state, deed_of(records, part.job, act), provenance)

    def take_into_stock(
        self, job: str, code: str, part: NewPart, provenance: Provenance, act: Act
    ) -> PartEntry:
        """Record a part that came into the shop."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            deed = deed_of(records, job, act)
            return records.add_part(job, code, part.piece, provenance, deed)

    def find(self, unit: str, finding: Finding, act: Act) -> str:
        """Record what somebody saw; gives the name of the finding."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            job = records.unit(unit).job
            return records.open_matter(job, finding, deed_of(records, job, act), unit=unit).name

    def lock_out(self, unit: str, lock: Lockout, act: Act) -> str:
        """Record that energies are locked and verified; gives the name of the lockout."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            job = records.unit(unit).job
            return records.open_matter(job, lock, deed_of(records, job, act), unit=unit).name

    def unlock(self, name: str, act: Act) -> None:
        """Record that a lockout was removed."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            deed = deed_of(records, records.matter(name).job, act)
            records.step_matter(name, LockoutState.REMOVED, deed)

    def finding(self, name: str) -> FindingView:
        """Give a finding by its name.

        Raises
        ------
        RecordError
            If there is none.
        """
        with self._ledger.reading() as records:
            matter = records.matter(name)
        if matter.kind is not MatterKind.FINDING:
            raise RecordError(
                f"this is a {matter.kind}", where=name, mend="Open the page of the finding."
            )
        return finding_view(matter)

    def step_finding(
        self, name: str, state: FindingState, act: Act, scope_item: str | None = None
    ) -> None:
        """Take a finding a step further."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            deed = deed_of(records, records.matter(name).job, act)
            records.step_matter(name, state, deed, StepDetail(scope_item=scope_item))

    def propose(
        self, job: str, unit: str, text: str, position: str | None, consequence: str | None, by: str
    ) -> str:
        """Recommend a line of the scope; gives its item."""
        with self._ledger.transaction(by, utc_now()) as records:
            line = records.add_scope_item(
                job, unit, text, position=position, consequence=consequence
            )
            records.change_scope(job, line.item, ScopeState.RECOMMENDED, "recommended", consequence)
            return line.item

    def change_scope(
        self,
        job: str,
        item: str,
        state: ScopeState,
        act: Act,
        consequence: str | None = None,
        change_order: str | None = None,
    ) -> None:
        """Take a line of the scope a step further, or change what the customer chose."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            present = next((e for e in records.scope_items(job) if e.item == item), None)
            records.change_scope(
                job,
                item,
                state,
                act.why,
                consequence or (present.consequence if present else None),
                evidence=deed_of(records, job, act).evidence,
                change_order=change_order,
            )

    def answer_scope(
        self,
        job: str,
        answers: Mapping[str, tuple[ScopeState, str]],
        act: Act,
        at_line: Callable[[str], AbstractContextManager[None]],
    ) -> int:
        """Record what the customer answered to lines of the scope, all at once or none.

        Parameters
        ----------
        job : str
            The job.
        answers : mapping of str to tuple
            What each line becomes and what follows from it, by item.
        act : Act
            Who records it, and the letter that says so.
        at_line : callable
            Gives what surrounds the work on a line, so that an error can be told beside it.

        Returns
        -------
        int
            How many lines were answered.
        """
        with self._ledger.transaction(act.by, utc_now()) as records:
            for entry in records.scope_items(job):
                if entry.item not in answers:
                    continue
                state, consequence = answers[entry.item]
                follows = consequence or entry.consequence
                with at_line(entry.item):
                    if entry.state is ScopeState.PROPOSED:
                        records.change_scope(
                            job, entry.item, ScopeState.RECOMMENDED, "recommended", follows
                        )
                    records.change_scope(job, entry.item, state, act.why, follows)
        return len(answers)

    def open_change_order(self, job: str, order: ChangeOrder, by: str) -> str:
        """Propose a change of what was agreed; gives its name."""
        with self._ledger.transaction(by, utc_now()) as records:
            return records.open_matter(job, order).name

    def answer_change_order(
        self, name: str, state: ChangeOrderState, token: str | None, act: Act
    ) -> None:
        """Record what the customer said to a change order, and what shows it."""
        with self._ledger.transaction(act.by, utc_now()) as records:
            records.step_matter(name, state, Deed(act.why), StepDetail(token=token))


def _today() -> date:
    return utc_now().date()


def deed_of(records: Records, job: str, act: Act) -> Deed:
    """Give a deed with the evidence that was chosen.

    Raises
    ------
    RecordError
        If the job holds no such evidence.
    """
    if not act.evidence:
        return Deed(act.why, (), act.done_at)
    for item in records.evidence(job):
        if evidence_words(item.name, item.sha256) == act.evidence:
            return Deed(act.why, (item.sha256,), act.done_at)
    raise RecordError(
        "the job holds no such evidence",
        where=f"evidence {act.evidence}",
        mend="Choose one of those that the form offers.",
    )


def _require_wanted(records: Records, unit: str, code: str, tag: str) -> None:
    entry = records.unit(unit)
    lines = tuple(
        line
        for line in records.scope_items(entry.job)
        if (line.unit, line.position) == (unit, code)
    )
    refused = scope_refusal(entry, lines)
    if refused is None:
        return
    part = records.part(parse_tag(tag, records.tags()))
    came_from_there = any((step.unit, step.position) == (unit, code) for step in part.steps)
    if not came_from_there:
        raise GateClosedError(
            f"{code} is {refused}: only the part that came from there may go back",
            where=f"{unit}, {code}",
            mend="To fit another one, have the customer accept a change order for it first.",
        )
