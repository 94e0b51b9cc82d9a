"""Matters: findings, nonconformances, waivers, change orders, lockouts and bypasses."""

from collections.abc import Callable, Mapping
from enum import StrEnum

from sqlalchemy import func, select

from spinproof.ledger import rules, shop_tables
from spinproof.ledger.keeping import KeepingBook
from spinproof.ledger.shop_entries import Deed, MatterEntry
from spinproof.ledger.states import (
    MATTERS,
    ChangeOrderState,
    FindingState,
    NonconformanceState,
    WaiverState,
    first_state,
    require_allowed,
)
from spinproof.model.access import name_key
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.matter import Content, MatterKind, StepDetail, kind_of
from spinproof.model.part import Disposition


class MatterRecords(KeepingBook):
    """Changes to matters."""

    def open_matter(
        self, job: str, content: Content, deed: Deed | None = None, *, unit: str | None = None
    ) -> MatterEntry:
        """Open a finding, nonconformance, waiver, change order, lockout or bypass.

        Parameters
        ----------
        job : str
            The job.
        content : Finding, Nonconformance, Waiver, ChangeOrder, Lockout or Bypass
            What it is about.
        deed : Deed, optional
            Evidence and time.
        unit : str, optional
            Head, shared module or spare part that it is about; the job as a whole when left out.

        Returns
        -------
        MatterEntry
            The matter with its name, for example QA-1041-NCR-02.

        Raises
        ------
        RecordError
            If the unit belongs to another job, or a lockout or bypass names none.
        """
        kind = kind_of(content)
        how = deed or Deed("opened")
        if unit is None and kind in {MatterKind.LOCKOUT, MatterKind.BYPASS}:
            raise RecordError(
                f"a {kind} is on a head or on the shared module",
                where=f"job {job}",
                mend="Name it.",
            )
        if unit is not None and self.unit(unit).job != job:
            raise RecordError(
                f"{unit} belongs to another job", where=f"job {job}", mend="Name a unit of the job."
            )
        self._require_evidence(job, how.evidence)
        number = self._next_number(job, kind)
        name = f"{job}-{kind.prefix}-{number:02d}"
        row = shop_tables.Matter(
            name=name,
            job=job,
            unit=unit,
            kind=kind.value,
            number=number,
            content=content.to_document(),
            done_at=self._moment(how.done_at, job),
            who=self._who,
            at=self._at,
        )
        with self._keeping(unit, job):
            self._add(row, "matter.open", f"{kind} {name}")
            self._add_matter_step(name, first_state(kind), StepDetail(), how, row.done_at)
        return self.matter(name)

    def step_matter(
        self, name: str, state: StrEnum, deed: Deed, detail: StepDetail | None = None
    ) -> MatterEntry:
        """Take a matter a step further.

        Parameters
        ----------
        name : str
            The matter.
        state : StrEnum
            What it becomes: a state of its kind.
        deed : Deed
            Why, on what evidence, and when.
        detail : StepDetail, optional
            Disposition and cause of a nonconformance, scope item of a finding, the customer's
            token.

        Returns
        -------
        MatterEntry
            The matter as it is now.

        Raises
        ------
        GateClosedError
            If the step is not allowed from where it is, or lacks what it needs.
        RecordError
            If the state is none of its kind.
        """
        matter = self.matter(name)
        about = detail or StepDetail()
        where = f"{matter.kind} {name}"
        machine = MATTERS[matter.kind]
        if state not in machine:
            raise RecordError(
                f'a {matter.kind} is never "{state}"',
                where=where,
                mend=f"Choose one of: {', '.join(machine)}.",
            )
        require_allowed(machine, matter.state, state, where=where)
        if need := _NEEDS.get(type(state)):
            need(matter, state, about, self._who)
        self._require_evidence(matter.job, deed.evidence)
        moment = self._moment(deed.done_at, matter.job)
        if moment < (last := matter.steps[-1].done_at):
            raise RecordError(
                f"{moment} lies before its last step ({last})", where=where, mend="Check the date."
            )
        with self._keeping(matter.unit, matter.job):
            self._add_matter_step(name, state, about, deed, moment)
        return self.matter(name)

    def _add_matter_step(
        self, name: str, state: StrEnum, detail: StepDetail, deed: Deed, moment: str
    ) -> None:
        why = rules.plain_text(deed.why, "reason")
        row = shop_tables.MatterStep(
            matter=name,
            state=state.value,
            detail=detail.to_document(),
            why=why,
            evidence=list(deed.evidence),
            done_at=moment,
            who=self._who,
            at=self._at,
        )
        self._add(row, "matter.step", f"matter {name}", why)

    def _next_number(self, job: str, kind: MatterKind) -> int:
        row = shop_tables.Matter
        last = self._session.scalar(
            select(func.max(row.number)).where(row.job == job, row.kind == kind.value)
        )
        return (last or 0) + 1


Need = Callable[[MatterEntry, StrEnum, StepDetail, str], None]


def _nonconformance_needs(
    matter: MatterEntry, state: StrEnum, detail: StepDetail, who: str
) -> None:
    if state is NonconformanceState.DISPOSITIONED:
        if detail.disposition is None:
            _refuse(matter, "a disposition is missing", f"Choose: {', '.join(Disposition)}.")
        if detail.cause is None:
            _refuse(matter, "the cause is missing", "Say what led to it, or that it is unknown.")
    if state is NonconformanceState.VERIFIED:
        did = [s for s in matter.steps if s.state is NonconformanceState.ACTIONED][-1].who
        if name_key(did) == name_key(who):
            _refuse(
                matter, f"{did} did the work and cannot verify it", "Have another person verify."
            )


def _waiver_needs(matter: MatterEntry, state: StrEnum, detail: StepDetail, who: str) -> None:
    if state is WaiverState.APPROVED_BY_SHOP and name_key(matter.opened.who) == name_key(who):
        _refuse(matter, f"{who} asked for it and cannot approve it", "Have another approve it.")
    if state is WaiverState.IN_FORCE and detail.token is None:
        _refuse(
            matter,
            "the customer's approval is missing",
            "Note the number of the letter or message that approves it.",
        )


def _change_order_needs(matter: MatterEntry, state: StrEnum, detail: StepDetail, who: str) -> None:
    if state is ChangeOrderState.ACCEPTED and detail.token is None:
        _refuse(
            matter,
            f"{who} cannot accept for the customer: what shows the acceptance is missing",
            "Note the number of the letter or message that accepts it.",
        )


def _finding_needs(matter: MatterEntry, state: StrEnum, detail: StepDetail, who: str) -> None:
    if state is FindingState.OFFERED and detail.scope_item is None:
        _refuse(
            matter,
            f"{who} names no line of the scope that it became",
            "Add the line to the scope first, and name it.",
        )


_NEEDS: Mapping[type[StrEnum], Need] = {
    NonconformanceState: _nonconformance_needs,
    WaiverState: _waiver_needs,
    ChangeOrderState: _change_order_needs,
    FindingState: _finding_needs,
}


def _refuse(matter: MatterEntry, what: str, mend: str) -> None:
    raise GateClosedError(what, where=f"{matter.kind} {matter.name}", mend=mend)
