"""Gather from the ledger, the traces and the journals what the pages may show."""

from collections.abc import Mapping

import numpy as np

from spinproof.app.causes import diagnose_run
from spinproof.app.claims import claims_in_words
from spinproof.app.curves import curves_of
from spinproof.app.drifting import drift_of_head
from spinproof.app.home import Home
from spinproof.app.packages import package_folders
from spinproof.app.views import (
    NOT_JUDGED,
    RUNNING,
    VOID,
    CampaignView,
    Classification,
    HeadCard,
    HeadView,
    JobView,
    MachineView,
    RunLine,
    RunView,
    ShopView,
    TraceView,
    UnitScope,
)
from spinproof.ledger.entries import JobEntry, RunEntry, RunState, UnitEntry, UnitKind
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.reading import Reading
from spinproof.ledger.rules import tally_of
from spinproof.ledger.shop_reading import ShopReading
from spinproof.model.cause import Diagnosis
from spinproof.model.errors import RecordError
from spinproof.model.handover import Attempt, EvidenceItem, ScopeLine
from spinproof.model.job import Process
from spinproof.model.run import Purpose
from spinproof.model.series import Drift
from spinproof.record.trace_file import read_trace

FROM_THE_TOP = {"upper": 0, "top": 0, "middle": 1, "lower": 2, "bottom": 2}
"""Order in which heads stand in their machine; other positions come between."""

MOST_POINTS = 4000
"""Points of a curve that a page gets at most."""


class Browser:
    """Answers what a page asks, from one state of the ledger for each page."""

    def __init__(self, home: Home, ledger: Ledger) -> None:
        self.home = home
        self.ledger = ledger
        self._simulated: dict[str, bool] = {}
        self._drifts: dict[str, tuple[object, Drift]] = {}

    def shop(self) -> ShopView:
        """Give all jobs, the newest first."""
        with self.ledger.reading() as records:
            jobs = tuple(self._job(records, job) for job in records.jobs())
        return ShopView(jobs=jobs, packages=len(package_folders(self.home)))

    def job(self, name: str) -> JobView:
        """Give one job; RecordError when there is none of this name."""
        with self.ledger.reading() as records:
            return self._job(records, records.job(name))

    def head(self, designation: str) -> HeadView:
        """Give one head with its runs; RecordError when there is none, or it is no head."""
        with self.ledger.reading() as records:
            unit = _head(records, designation)
            job = self._job(records, records.job(unit.job))
            attempts = records.attempts(designation)
            reasons = {attempt.run: attempt.reasons for attempt in attempts}
            burn_in = tuple(a for a in attempts if a.purpose is Purpose.BURN_IN)
            return HeadView(
                job=job,
                machine=unit.machine,
                card=_card(job, designation),
                configurations=records.configurations(designation),
                campaigns=_campaigns(records, designation, burn_in),
                attempts=burn_in,
                runs=tuple(
                    run_line(run, reasons.get(run.name) or _reasons(records, run))
                    for run in records.runs(designation)
                ),
                claims=claims_in_words(burn_in),
            )

    def cause(self, run: str) -> Diagnosis:
        """Rank the likely causes of what a judged run showed.

        Raises
        ------
        RecordError
            If there is no such run, or it was never judged.
        """
        return diagnose_run(self.ledger, run)

    def drift(self, designation: str) -> Drift:
        """Say what drifts in a head's burn-in; once for each state of its attempts.

        Raises
        ------
        RecordError
            If there is no such head.
        """
        with self.ledger.reading() as records:
            unit = _head(records, designation)
            state = records.campaigns(unit.designation), records.attempts(unit.designation)
        kept = self._drifts.get(designation)
        if kept is None or kept[0] != state:
            kept = self._drifts[designation] = state, drift_of_head(self.ledger, designation)
        return kept[1]

    def run(self, name: str) -> RunView:
        """Give one run in full; RecordError when there is none of this name."""
        with self.ledger.reading() as records:
            run = records.run(name)
            job = self._job(records, records.job(run.job))
            judgement = records.judgement(name)
            hashes = records.judgements(name)
            decisions = _decisions(records, run)
            names = [other.name for other in records.runs(run.head)]
            at = names.index(name)
            return RunView(
                job=job,
                card=_card(job, run.head),
                line=run_line(run, decisions[-1].reasons if decisions else ()),
                recipe=records.recipe(name),
                load=records.load(name),
                judgement=judgement,
                judgement_sha256=hashes[-1].sha256 if hashes else None,
                trace_sha256=run.trace_sha256,
                ending=run.ending,
                classifications=decisions,
                previous=names[at - 1] if at else None,
                following=names[at + 1] if at + 1 < len(names) else None,
                simulated=judgement.simulated if judgement else job.simulated,
            )

    def trace(
        self,
        run: str,
        from_s: float | None = None,
        to_s: float | None = None,
        points: int = MOST_POINTS,
    ) -> TraceView:
        """Give the curves of a run, or of a part of it.

        Parameters
        ----------
        run : str
            Name of the run.
        from_s, to_s : float, optional
            Part of the run; without them, all of it. [s]
        points : int
            Most points of a curve.

        Returns
        -------
        TraceView
            The curves, thinned where they hold more points than a page can show.

        Raises
        ------
        RecordError
            If there is no such run, it has no trace, or the part lies outside it.
        """
        with self.ledger.reading() as records:
            sha256 = records.run(run).trace_sha256
        if sha256 is None:
            raise RecordError(
                "the run has no sealed trace",
                where=f"run {run}",
                mend="A trace is there once the recording has ended.",
            )
        trace = read_trace(self.home.trace(sha256))
        start = max(0.0, from_s or 0.0)
        end = min(trace.duration_s, trace.duration_s if to_s is None else to_s)
        if not start < end:
            raise RecordError(
                f"the run holds nothing from {start:g} s to {end:g} s",
                where=f"run {run}",
                mend=f"It lasted {trace.duration_s:.1f} s; ask for a part of that.",
            )
        return TraceView(
            duration_s=trace.duration_s,
            from_s=start,
            to_s=end,
            series=curves_of(trace, points, start_s=start, end_s=end, head_tach=True),
            whole=all(
                np.count_nonzero((s.time_s >= start) & (s.time_s <= end)) <= points
                for s in trace.signals.values()
            ),
        )

    def _job(self, records: ShopReading, job: JobEntry) -> JobView:
        units, scope = records.units(job.name), records.scope(job.name)
        heads = [unit for unit in units if unit.kind is UnitKind.HEAD]
        return JobView(
            job=job.name,
            order=job.order,
            shop=job.shop,
            machines=tuple(
                _machine(records, machine, units, scope) for machine in records.machines(job.name)
            ),
            simulated=any(self._is_simulated(records, head.designation) for head in heads),
            full=records.terms(job.name).process is Process.FULL,
        )

    def _is_simulated(self, records: Reading, head: str) -> bool:
        """Tell whether any judged run of a head is simulated; judgements never change."""
        for run in records.runs(head, RunState.JUDGED):
            if run.name not in self._simulated:
                judgement = records.judgement(run.name)
                self._simulated[run.name] = judgement is not None and judgement.simulated
        return any(self._simulated.get(run.name, False) for run in records.runs(head))


def run_line(run: RunEntry, reasons: tuple[str, ...]) -> RunLine:
    """Give a run as a line of a list."""
    return RunLine(
        run=run.name,
        number=run.number,
        campaign=run.campaign,
        purpose=run.purpose,
        started_at=run.started_at,
        recipe_name=run.recipe_name,
        wafer_count=run.wafer_count,
        word=_word(run),
        reasons=reasons,
    )


def _word(run: RunEntry) -> str:
    if run.void:
        return VOID
    if run.outcome is not None:
        return run.outcome.value
    return RUNNING if run.state is RunState.RUNNING else NOT_JUDGED


def _head(records: Reading, designation: str) -> UnitEntry:
    unit = records.unit(designation)
    if unit.kind is not UnitKind.HEAD:
        raise RecordError(
            "this is what the heads share, and no head",
            where=f"unit {designation}",
            mend="Look at its scope on the page of its job.",
        )
    return unit


def _card(job: JobView, head: str) -> HeadCard:
    return next(card for card in job.heads if card.head == head)


def _machine(
    records: Reading, machine: str, units: tuple[UnitEntry, ...], scope: tuple[ScopeLine, ...]
) -> MachineView:
    own = [unit for unit in units if unit.machine == machine]
    lines = {unit.designation: _scope(unit, scope) for unit in own}
    heads = sorted(
        (unit for unit in own if unit.kind is UnitKind.HEAD),
        key=lambda unit: (FROM_THE_TOP.get(unit.position, 1), unit.designation),
    )
    shared = [lines[unit.designation] for unit in own if unit.kind is UnitKind.SHARED_MODULE]
    return MachineView(
        machine=machine,
        heads=tuple(_head_card(records, unit, lines[unit.designation]) for unit in heads),
        shared=shared[0] if shared else None,
    )


def _scope(unit: UnitEntry, scope: tuple[ScopeLine, ...]) -> UnitScope:
    return UnitScope(
        unit=unit.designation,
        kind=unit.kind.value,
        lines=tuple(line for line in scope if line.unit == unit.designation),
    )


def _head_card(records: Reading, unit: UnitEntry, scope: UnitScope) -> HeadCard:
    tally = records.tally(unit.designation)
    running = records.runs(unit.designation, RunState.RUNNING)
    return HeadCard(
        head=unit.designation,
        letter=unit.letter,
        position=unit.position,
        words=unit.words,
        in_scope=unit.in_scope,
        scope=scope,
        tally=tally if tally.attempts else None,
        recording=running[-1].name if running else None,
    )


def _campaigns(
    records: Reading, head: str, attempts: tuple[Attempt, ...]
) -> tuple[CampaignView, ...]:
    return tuple(
        CampaignView(
            number=campaign.number,
            opened_at=campaign.opened_at,
            closed_at=campaign.closed_at,
            closed_why=campaign.closed_because,
            fingerprint=campaign.configuration,
            planned=len(records.plan(campaign).runs),
            tally=tally_of(a for a in attempts if a.campaign == campaign.number),
        )
        for campaign in records.campaigns(head)
    )


def _reasons(records: Reading, run: RunEntry) -> tuple[str, ...]:
    decisions = records.classifications(run.name)
    return decisions[-1].reasons if decisions else ()


def _decisions(records: Reading, run: RunEntry) -> tuple[Classification, ...]:
    entries = records.classifications(run.name)
    held: Mapping[str, EvidenceItem] = {item.sha256: item for item in records.evidence(run.job)}
    return tuple(
        Classification(
            outcome=entry.outcome,
            reasons=entry.reasons,
            by=entry.decided_by,
            second_name=entry.second_name,
            at=entry.at,
            evidence=tuple(held[sha256] for sha256 in entry.evidence),
        )
        for entry in entries
    )
