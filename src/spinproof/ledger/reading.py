"""Questions to the ledger. Everything here reads one consistent state and changes nothing."""

from collections.abc import Sequence
from typing import NoReturn, TypeVar

from sqlalchemy import ColumnElement, func, select

from spinproof.ledger import rules, tables
from spinproof.ledger.entries import (
    CampaignEntry,
    ClassificationEntry,
    Closing,
    JobEntry,
    JudgementEntry,
    KeptPlan,
    RunEntry,
    RunState,
    UnitEntry,
    UnitKind,
)
from spinproof.ledger.people_reading import PeopleReading
from spinproof.ledger.trail_reading import TrailReading
from spinproof.model.errors import RecordError
from spinproof.model.handover import (
    Attempt,
    ConfigurationEntry,
    EvidenceItem,
    ScopeLine,
    ScopeState,
    Tally,
)
from spinproof.model.head import HeadSpec
from spinproof.model.head_model import HeadModel
from spinproof.model.judgement import Judgement
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.noun import Noun
from spinproof.model.plan import Plan, PlannedRun
from spinproof.model.recipe import Recipe
from spinproof.model.run import Ending, Outcome, Purpose

N = TypeVar("N", bound=Noun)


class Reading(PeopleReading, TrailReading):
    """One consistent view of the ledger. What it does not hold, it refuses with RecordError."""

    def jobs(self) -> tuple[JobEntry, ...]:
        """Give all jobs, the newest first."""
        rows = self._session.scalars(
            select(tables.Job).order_by(tables.Job.opened_at.desc(), tables.Job.name)
        )
        return tuple(JobEntry(r.name, r.order_token, r.shop, r.opened_at) for r in rows)

    def job(self, name: str) -> JobEntry:
        """Give one job."""
        row = self._session.get(tables.Job, name)
        if row is None:
            _refuse_unknown("job", name, [job.name for job in self.jobs()])
        return JobEntry(row.name, row.order_token, row.shop, row.opened_at)

    def machines(self, job: str) -> tuple[str, ...]:
        """Give the designations of a job's machines."""
        self.job(job)
        query = select(tables.Machine.designation).where(tables.Machine.job == job)
        return tuple(self._session.scalars(query.order_by(tables.Machine.designation)))

    def units(self, job: str) -> tuple[UnitEntry, ...]:
        """Give the heads and shared modules of a job's machines."""
        self.job(job)
        return self._units(tables.Machine.job == job)

    def unit(self, designation: str) -> UnitEntry:
        """Give one head or shared module."""
        found = self._units(tables.Unit.designation == designation)
        if not found:
            known = self._session.scalars(select(tables.Unit.designation))
            _refuse_unknown("unit", designation, list(known))
        return found[0]

    def _units(self, condition: ColumnElement[bool]) -> tuple[UnitEntry, ...]:
        query = (
            select(tables.Unit, tables.Machine.job)
            .join(tables.Machine, tables.Machine.designation == tables.Unit.machine)
            .where(condition)
            .order_by(tables.Unit.machine, tables.Unit.kind, tables.Unit.designation)
        )
        return tuple(
            UnitEntry(
                u.designation,
                job,
                u.machine,
                UnitKind(u.kind),
                u.position,
                u.letter,
                u.in_scope,
                u.words,
            )
            for u, job in self._session.execute(query)
        )

    def scope(self, job: str) -> tuple[ScopeLine, ...]:
        """Give the lines of a job's scope as documents print them, in order of their item."""
        self.job(job)
        query = select(tables.ScopeItem).where(tables.ScopeItem.job == job)
        return tuple(
            ScopeLine(r.item, r.unit, r.text, ScopeState(r.state).printed, r.consequence)
            for r in self._session.scalars(query.order_by(tables.ScopeItem.item))
        )

    def evidence(self, job: str) -> tuple[EvidenceItem, ...]:
        """Give the evidence of a job, in the order it came."""
        self.job(job)
        query = select(tables.Evidence).where(tables.Evidence.job == job)
        rows = self._session.scalars(query.order_by(tables.Evidence.at, tables.Evidence.name))
        return tuple(EvidenceItem(r.sha256, r.name, r.what, r.who, r.at) for r in rows)

    def configurations(self, head: str) -> tuple[ConfigurationEntry, ...]:
        """Give the configurations that a head had, the present one last."""
        self.unit(head)
        change = tables.ConfigurationChange
        query = select(change).where(change.head == head).order_by(change.id)
        return tuple(
            ConfigurationEntry(r.fingerprint, r.since, r.what) for r in self._session.scalars(query)
        )

    def campaigns(self, head: str) -> tuple[CampaignEntry, ...]:
        """Give the campaigns of a head, in order."""
        self.unit(head)
        query = select(tables.Campaign).where(tables.Campaign.head == head)
        return tuple(
            CampaignEntry(
                r.id,
                r.head,
                r.number,
                r.plan_sha256,
                r.configuration,
                r.opened_at,
                r.closed_at,
                Closing(r.closing) if r.closing else None,
                r.closed_because,
            )
            for r in self._session.scalars(query.order_by(tables.Campaign.number))
        )

    def campaign(self, head: str) -> CampaignEntry | None:
        """Give the open campaign of a head, if there is one."""
        return next((c for c in self.campaigns(head) if c.closing is None), None)

    def plan(self, campaign: CampaignEntry) -> Plan:
        """Give the plan of a campaign."""
        return self._document(campaign.plan_sha256, Plan)

    def plans(self, head: str) -> tuple[KeptPlan, ...]:
        """Give every plan that is kept for a head, in the order in which they were kept."""
        self.unit(head)
        row = tables.Document
        query = select(row.sha256, row.canonical, row.kept_at).where(row.kind == "plan")
        kept = (
            KeptPlan(sha256, Plan.model_validate_json(text, strict=False), at)
            for sha256, text, at in self._session.execute(query.order_by(row.kept_at, row.sha256))
        )
        return tuple(entry for entry in kept if entry.plan.head == head)

    def head_models(self, head: str) -> tuple[HeadModel, ...]:
        """Give every calibrated model that is kept of a head, in the order of keeping."""
        self.unit(head)
        row = tables.Document
        query = select(row.canonical).where(row.kind == "head-model", row.name == head)
        return tuple(
            HeadModel.model_validate_json(text, strict=False)
            for text in self._session.scalars(query.order_by(row.kept_at, row.sha256))
        )

    def next_planned(self, head: str) -> PlannedRun | None:
        """Give the planned run to make next in the open campaign, or None when there is none."""
        campaign = self.campaign(head)
        if campaign is None:
            return None
        counted = rules.counted_by_plan(self._runs_of(campaign))
        return rules.next_planned(self.plan(campaign), counted)

    def runs(self, head: str | None = None, state: RunState | None = None) -> tuple[RunEntry, ...]:
        """Give runs in order of their number, of one head and in one state when asked."""
        if head is not None:
            self.unit(head)
        found = self._runs(*([] if head is None else [tables.Run.head == head]))
        return tuple(run for run in found if state in {None, run.state})

    def run(self, name: str) -> RunEntry:
        """Give one run."""
        found = self._runs(tables.Run.name == name)
        if not found:
            _refuse_unknown("run", name, [])
        return found[0]

    def _runs_of(self, campaign: CampaignEntry) -> tuple[RunEntry, ...]:
        return self._runs(tables.Run.campaign == campaign.id)

    def _runs(self, *conditions: ColumnElement[bool]) -> tuple[RunEntry, ...]:
        latest = (
            select(tables.Classification.run, func.max(tables.Classification.id).label("id"))
            .group_by(tables.Classification.run)
            .subquery()
        )
        query = (
            select(
                tables.Run,
                tables.Machine.job,
                tables.Campaign.number,
                tables.Campaign.closing,
                tables.Classification.outcome,
            )
            .join(tables.Unit, tables.Unit.designation == tables.Run.head)
            .join(tables.Machine, tables.Machine.designation == tables.Unit.machine)
            .outerjoin(tables.Campaign, tables.Campaign.id == tables.Run.campaign)
            .outerjoin(latest, latest.c.run == tables.Run.name)
            .outerjoin(tables.Classification, tables.Classification.id == latest.c.id)
            .where(*conditions)
            .order_by(tables.Run.head, tables.Run.number)
        )
        return tuple(
            _run_entry(row, job, number, closing, outcome)
            for row, job, number, closing, outcome in self._session.execute(query)
        )

    def recipe(self, run: str) -> Recipe:
        """Give the recipe that a run executed."""
        return self._document(self.run(run).recipe_sha256, Recipe)

    def load(self, run: str) -> Load:
        """Give the load of a run."""
        return self._document(self.run(run).load_sha256, Load)

    def head_spec(self, run: str) -> HeadSpec:
        """Give the head spec that a run was made under."""
        return self._document(self.run(run).head_sha256, HeadSpec)

    def limits(self, sha256: str) -> LimitSet:
        """Give a set of limits that a judgement was made with."""
        return self._document(sha256, LimitSet)

    def document(self, sha256: str) -> str:
        """Give the canonical JSON of a stored document."""
        row = self._session.get(tables.Document, sha256)
        if row is None:
            _refuse_unknown("document", sha256, [])
        return row.canonical

    def _document(self, sha256: str, kind: type[N]) -> N:
        return kind.model_validate_json(self.document(sha256), strict=False)

    def judgements(self, run: str) -> tuple[JudgementEntry, ...]:
        """Give the judgements of a run without their content; the last one is in force."""
        self.run(run)
        row = tables.JudgementRow
        query = select(row.run, row.sha256, row.limits_sha256, row.software, row.outcome, row.at)
        return tuple(
            JudgementEntry(name, sha256, limits, software, Outcome(outcome), at)
            for name, sha256, limits, software, outcome, at in self._session.execute(
                query.where(row.run == run).order_by(row.id)
            )
        )

    def judgement(self, run: str) -> Judgement | None:
        """Give the judgement of a run that is in force, or None before there is one."""
        self.run(run)
        row = tables.JudgementRow
        query = select(row.canonical).where(row.run == run).order_by(row.id.desc()).limit(1)
        text = self._session.scalar(query)
        return None if text is None else Judgement.model_validate_json(text, strict=False)

    def classifications(self, run: str) -> tuple[ClassificationEntry, ...]:
        """Give every decision on a run, in order; the last one is in force."""
        self.run(run)
        return self._classifications(tables.Classification.run == run)

    def _classifications(self, condition: ColumnElement[bool]) -> tuple[ClassificationEntry, ...]:
        query = select(tables.Classification).where(condition).order_by(tables.Classification.id)
        return tuple(
            ClassificationEntry(
                r.run,
                Outcome(r.outcome),
                r.decided_by,
                r.second_name,
                tuple(r.reasons),
                tuple(r.evidence),
                r.at,
            )
            for r in self._session.scalars(query)
        )

    def attempts(self, head: str) -> tuple[Attempt, ...]:
        """Give the burn-in runs and the witnessed runs of a head that have an outcome."""
        runs = [run for run in self.runs(head) if run.purpose is not Purpose.TRIAL]
        of_head = tables.Classification.run.in_(
            select(tables.Run.name).where(tables.Run.head == head)
        )
        in_force = {entry.run: entry for entry in self._classifications(of_head)}
        judged = dict(self._judgement_hashes(head))
        return tuple(
            _attempt(run, in_force[run.name], judged.get(run.name, ""))
            for run in runs
            if run.name in in_force
        )

    def _judgement_hashes(self, head: str) -> Sequence[tuple[str, str]]:
        row = tables.JudgementRow
        query = (
            select(row.run, row.sha256)
            .join(tables.Run, tables.Run.name == row.run)
            .where(tables.Run.head == head)
            .order_by(row.id)
        )
        return [(run, sha256) for run, sha256 in self._session.execute(query)]

    def tally(self, head: str) -> Tally:
        """Give the attempts of a head's burn-in, added up."""
        return rules.tally_of(self.attempts(head))


def _refuse_unknown(kind: str, name: str, known: list[str]) -> NoReturn:
    mend = f"Known are {', '.join(sorted(known)[:12])}." if known else "Check the spelling."
    raise RecordError(f"the ledger holds no such {kind}", where=f"{kind} {name}", mend=mend)


def _run_entry(
    row: tables.Run, job: str, number: int | None, closing: str | None, outcome: str | None
) -> RunEntry:
    became = Outcome(outcome) if outcome else None
    return RunEntry(
        name=row.name,
        job=job,
        head=row.head,
        number=row.number,
        purpose=Purpose(row.purpose),
        campaign=number,
        planned=row.planned,
        recipe_name=row.recipe_name,
        recipe_sha256=row.recipe_sha256,
        load_name=row.load_name,
        load_sha256=row.load_sha256,
        wafer_count=row.wafer_count,
        head_sha256=row.head_sha256,
        configuration=row.configuration,
        started_at=row.started_at,
        state=_state(row.ending, became),
        ending=Ending(row.ending) if row.ending else None,
        finished_at=row.finished_at,
        trace_sha256=row.trace_sha256,
        outcome=became,
        void=rules.is_void(became, Closing(closing) if closing else None),
    )


def _state(ending: str | None, outcome: Outcome | None) -> RunState:
    if ending is None:
        return RunState.RUNNING
    return RunState.FINISHED if outcome is None else RunState.JUDGED


def _attempt(run: RunEntry, decision: ClassificationEntry, judgement: str) -> Attempt:
    return Attempt(
        run=run.name,
        number=run.number,
        campaign=run.campaign or 0,
        purpose=run.purpose,
        started_at=run.started_at,
        recipe_name=run.recipe_name,
        wafer_count=run.wafer_count,
        outcome=decision.outcome,
        void=run.void,
        reasons=decision.reasons,
        decided_by=decision.decided_by,
        second_name=decision.second_name,
        trace_sha256=run.trace_sha256 or "",
        judgement_sha256=judgement,
        evidence=decision.evidence,
    )
