"""Runs, from their number to their outcome."""

from sqlalchemy import func, select

from spinproof.files.canonical import canonical_json, digest_of
from spinproof.ledger import rules, tables
from spinproof.ledger.campaigns import CampaignRecords
from spinproof.ledger.entries import (
    CampaignEntry,
    ClassificationEntry,
    JudgementEntry,
    RunEntry,
    RunState,
    UnitEntry,
)
from spinproof.ledger.gating import reasons_not_to_run, refuse_closed
from spinproof.ledger.rulebook.running import DOOR_ORDER
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.head import HeadSpec
from spinproof.model.job import Process
from spinproof.model.judgement import Judgement
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.matter import Nonconformance
from spinproof.model.part import Severity
from spinproof.model.recipe import Recipe
from spinproof.model.run import Ending, Outcome, Purpose


class RunRecords(CampaignRecords):
    """Changes to runs."""

    def start_run(
        self,
        head: str,
        *,
        purpose: Purpose,
        recipe: Recipe,
        load: Load,
        spec: HeadSpec,
        planned: int | None = None,
    ) -> RunEntry:
        """Allot a run its number, before its first sample. The number is spent from here on.

        Parameters
        ----------
        head : str
            Designation of the head.
        purpose : Purpose
            Burn-in runs need ``planned``; the witnessed run needs a complete campaign.
        recipe : Recipe
            What the head will execute.
        load : Load
            What stands in its slots.
        spec : HeadSpec
            The head's numbers.
        planned : int, optional
            Number of the planned run that a burn-in run carries out.

        Returns
        -------
        RunEntry
            The run, with its name.

        Raises
        ------
        RecordError
            If the spec is another head's, or ``planned`` is given to a run outside the burn-in.
        """
        unit = self.unit(head)
        rules.require_in_scope(unit)
        self._require_idle(head)
        if spec.designation != head:
            raise RecordError(
                f"the head spec is that of {spec.designation}",
                where=f"head {head}",
                mend="Give the spec of the head that runs.",
            )
        if planned is not None and purpose is not Purpose.BURN_IN:
            raise RecordError(
                f"a {purpose} run carries out no planned run",
                where=f"head {head}",
                mend="Leave the planned run out, or make a burn-in run.",
            )
        self._require_open_gates(unit, purpose, recipe)
        campaign = None
        if purpose is not Purpose.TRIAL:
            campaign = self._campaign_for(head, purpose, recipe, load, spec, planned)
        with self._keeping(head):
            return self._start(unit, campaign, purpose, recipe, load, spec, planned)

    def _require_open_gates(self, unit: UnitEntry, purpose: Purpose, recipe: Recipe) -> None:
        """Refuse a run that the full process does not allow yet."""
        if self.terms(unit.job).process is not Process.FULL:
            return
        file = self._file(unit.designation)
        reasons = reasons_not_to_run(file, purpose, recipe.top_speed_rpm)
        refuse_closed(reasons, f"{purpose} run of head {unit.designation}")

    def _campaign_for(
        self,
        head: str,
        purpose: Purpose,
        recipe: Recipe,
        load: Load,
        spec: HeadSpec,
        planned: int | None,
    ) -> CampaignEntry:
        campaign = self.campaign(head)
        if campaign is None:
            raise GateClosedError(
                f"no campaign is open for a {purpose} run",
                where=f"head {head}",
                mend="Open a campaign from a plan first, or make the run as a trial.",
            )
        runs, plan = self._runs_of(campaign), self.plan(campaign)
        rules.require_unbroken(campaign, runs)
        counted = rules.counted_by_plan(runs)
        if purpose is Purpose.WITNESS:
            rules.require_complete(campaign, plan, counted)
        else:
            asked = next((run for run in plan.runs if run.number == planned), None)
            rules.require_planned(
                plan,
                planned,
                counted,
                recipe_is_planned=asked is not None and asked.recipe == recipe,
                load_is_planned=asked is not None and asked.load == load,
                head_is_planned=digest_of(spec.to_document()) == plan.head_sha256,
            )
        return campaign

    def _start(
        self,
        unit: UnitEntry,
        campaign: CampaignEntry | None,
        purpose: Purpose,
        recipe: Recipe,
        load: Load,
        spec: HeadSpec,
        planned: int | None,
    ) -> RunEntry:
        head = unit.designation
        last = self._session.scalar(
            select(func.max(tables.Run.number)).where(tables.Run.head == head)
        )
        number = (last or 0) + 1
        history = self.configurations(head)
        row = tables.Run(
            name=f"{unit.job}-{unit.letter}-{number:03d}",
            head=head,
            number=number,
            purpose=purpose.value,
            campaign=None if campaign is None else campaign.id,
            planned=planned,
            recipe_name=recipe.name,
            recipe_sha256=self._keep("recipe", recipe.name, recipe),
            load_name=load.name,
            load_sha256=self._keep("load", load.name, load),
            wafer_count=load.wafer_count,
            head_sha256=self._keep("head", head, spec),
            configuration=history[-1].fingerprint if history else None,
            started_at=self._at,
        )
        self._add(row, "run.start", f"run {row.name}")
        return self.run(row.name)

    def finish_run(self, run: str, ending: Ending, trace_sha256: str | None) -> RunEntry:
        """Record how a recording ended.

        Parameters
        ----------
        run : str
            Name of the run.
        ending : Ending
            How it ended.
        trace_sha256 : str or None
            SHA-256 of the sealed trace; None when not one sample came.

        Returns
        -------
        RunEntry
            The run, finished.

        Raises
        ------
        RecordError
            If the run has ended already, or the trace is that of another run.
        """
        entry = self.run(run)
        if entry.state is not RunState.RUNNING:
            raise RecordError(
                f"the run has ended already: {entry.ending}",
                where=f"run {run}",
                mend="Start a new run; a recording ends once.",
            )
        if trace_sha256 is not None:
            other = self._session.scalar(
                select(tables.Run.name).where(tables.Run.trace_sha256 == trace_sha256)
            )
            if other is not None:
                raise RecordError(
                    f"the same trace belongs to run {other}",
                    where=f"run {run}",
                    mend="A trace proves one run; take the one that was recorded for this run.",
                )
        self._change(
            self._session.get_one(tables.Run, run),
            "run.finish",
            f"run {run}",
            ending=ending.value,
            finished_at=self._at,
            trace_sha256=trace_sha256,
        )
        return self.run(run)

    def add_judgement(
        self, run: str, judgement: Judgement, limits: LimitSet
    ) -> ClassificationEntry:
        """Record a judgement. The first one decides the outcome; a later one stands beside it.

        Parameters
        ----------
        run : str
            Name of the run.
        judgement : Judgement
            What its trace showed.
        limits : LimitSet
            The limits it was judged by.

        Returns
        -------
        ClassificationEntry
            The outcome in force from now on.
        """
        entry = self.run(run)
        self._require_own(entry, judgement, limits)
        earlier, decided = self.judgements(run), self.classifications(run)
        new = self._entry_of(entry, judgement)
        takes_over = not decided or (
            bool(earlier) and rules.follows_rejudgement(entry, decided[-1], earlier[0], new)
        )
        if takes_over and new.outcome is Outcome.COUNTED:
            self._require_countable(entry, new)
        with self._keeping(entry.head):
            if not earlier or earlier[-1].sha256 != new.sha256:
                self._keep_judgement(new, judgement, limits)
                self._ask_about_door(entry, judgement)
            if not takes_over:
                return decided[-1]
            return self._decide(run, new.outcome, rules.JUDGE, None, judgement.reasons, ())

    def _ask_about_door(self, run: RunEntry, judgement: Judgement) -> None:
        """Raise a nonconformance of safety when the door was released out of order."""
        order = judgement.metric("door_order_breaches")
        if order is None or not order.value or self.terms(run.job).process is not Process.FULL:
            return
        text = f"{DOOR_ORDER} in run {run.name}: {order.note or 'see its judgement'}."
        about = Nonconformance(text=text[:600], severity=Severity.SAFETY, run=run.name)
        self.open_matter(run.job, about, unit=run.head)

    def classify(
        self,
        run: str,
        outcome: Outcome,
        *,
        reasons: tuple[str, ...],
        evidence: tuple[str, ...] = (),
        second: str | None = None,
    ) -> ClassificationEntry:
        """Decide on a run's outcome as a person; earlier decisions stay on record.

        Parameters
        ----------
        run : str
            Name of the run.
        outcome : Outcome
            What became of it.
        reasons : tuple of str
            Why, in plain words.
        evidence : tuple of str
            SHA-256 of evidence of the job.
        second : str, optional
            Who looked at the evidence and confirms.

        Returns
        -------
        ClassificationEntry
            The outcome in force from now on.
        """
        entry = self.run(run)
        judgements = self.judgements(run)
        judged = judgements[-1] if judgements else None
        texts = tuple(rules.plain_text(reason, "reason") for reason in reasons)
        confirmed = None if second is None else rules.plain_text(second, "second name")
        rules.require_decision(
            entry,
            outcome,
            judged,
            by=self._who,
            second=confirmed,
            reasons=texts,
            evidence=evidence,
        )
        self._require_held(entry, evidence)
        if outcome is Outcome.COUNTED:
            self._require_countable(entry, judged)
        with self._keeping(entry.head):
            return self._decide(run, outcome, self._who, confirmed, texts, evidence)

    def _require_own(self, run: RunEntry, judgement: Judgement, limits: LimitSet) -> None:
        pairs = {
            "run": (judgement.run, run.name),
            "trace": (judgement.trace_sha256, run.trace_sha256),
            "recipe": (judgement.recipe_sha256, run.recipe_sha256),
            "head spec": (judgement.head_sha256, run.head_sha256),
            "limits": (judgement.limits_sha256, digest_of(limits.to_document())),
        }
        for what, (judged, own) in pairs.items():
            if judged != own:
                raise RecordError(
                    f"the judgement stands on another {what} than this run ({judged}, not {own})",
                    where=f"run {run.name}",
                    mend="Judge the run's own trace, with its own recipe and head spec.",
                )
        if judgement.outcome is Outcome.INVALID_OUTSIDE:
            raise RecordError(
                "a judgement cannot decide on an outside cause",
                where=f"run {run.name}",
                mend="Classify the run, with evidence and a second name.",
            )
        self._refuse_edited(limits)

    def _refuse_edited(self, limits: LimitSet) -> None:
        document = tables.Document
        used = self._session.scalar(
            select(document.sha256).where(
                document.kind == "limits",
                document.name == limits.name,
                document.revision == limits.revision,
            )
        )
        if used is not None and used != digest_of(limits.to_document()):
            raise GateClosedError(
                f"revision {limits.revision} of these limits was used already, with other numbers",
                where=f"limits {limits.name}",
                mend=f"Limits once used are never edited: give the new ones revision "
                f"{limits.revision + 1}.",
            )

    def _entry_of(self, run: RunEntry, judgement: Judgement) -> JudgementEntry:
        return JudgementEntry(
            run=run.name,
            sha256=digest_of(judgement.to_document()),
            limits_sha256=judgement.limits_sha256,
            software=judgement.software,
            outcome=judgement.outcome,
            at=self._at,
        )

    def _keep_judgement(self, new: JudgementEntry, judgement: Judgement, limits: LimitSet) -> None:
        self._keep("limits", limits.name, limits)
        row = tables.JudgementRow(
            run=new.run,
            sha256=new.sha256,
            canonical=canonical_json(judgement.to_document()).decode(),
            limits_sha256=new.limits_sha256,
            software=new.software,
            outcome=new.outcome.value,
            who=self._who,
            at=new.at,
        )
        self._add(row, "run.judge", f"run {new.run}")

    def _require_held(self, run: RunEntry, evidence: tuple[str, ...]) -> None:
        for sha256 in evidence:
            row = self._session.get(tables.Evidence, sha256)
            if row is None or row.job != run.job:
                raise RecordError(
                    "the job holds no such evidence",
                    where=f"evidence {sha256} of run {run.name}",
                    mend="Add the file as evidence of the job first.",
                )

    def _require_countable(self, run: RunEntry, judged: JudgementEntry | None) -> None:
        own = [c for c in self.campaigns(run.head) if c.number == run.campaign]
        campaign = own[0] if own else None
        counted = {} if campaign is None else rules.counted_by_plan(self._runs_of(campaign))
        rules.require_countable(run, campaign, judged, counted)

    def _decide(
        self,
        run: str,
        outcome: Outcome,
        by: str,
        second: str | None,
        reasons: tuple[str, ...],
        evidence: tuple[str, ...],
    ) -> ClassificationEntry:
        row = tables.Classification(
            run=run,
            outcome=outcome.value,
            decided_by=by,
            second_name=second,
            reasons=list(reasons),
            evidence=list(evidence),
            at=self._at,
        )
        self._add(row, "run.classify", f"run {run}", "; ".join(reasons) or None)
        return ClassificationEntry(run, outcome, by, second, reasons, evidence, self._at)
