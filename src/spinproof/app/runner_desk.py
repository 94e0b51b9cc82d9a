"""The burn-in page of a head: the next run as it is entered, what was made, notes, and deeds."""

import os
import signal
from dataclasses import dataclass
from datetime import datetime, timedelta

from spinproof.app.clock import rfc3339, utc_now
from spinproof.app.fact_views import fact_words
from spinproof.app.home import Home
from spinproof.app.intake import present_setup
from spinproof.app.runner import (
    hold_series,
    is_running,
    last_note,
    require_resumed,
    start_recorder,
)
from spinproof.app.runner_state import SeriesOrder, SeriesState, state_of
from spinproof.ledger.entries import CampaignEntry, Closing, RunEntry, RunState
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.shop_reading import ShopReading
from spinproof.model.attestation import BenchNote, NoteKind
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import Tally
from spinproof.model.judgement import Judgement, Metric
from spinproof.model.plan import PlannedRun
from spinproof.model.recipe import Recipe, Step, TimerBasis
from spinproof.model.run import Outcome

STARTS_WITHIN = timedelta(seconds=60)
"""How long a recorder process may take until it holds its head."""


@dataclass(frozen=True)
class StepLine:
    """A step as it was planned, beside what ran."""

    number: int
    name: str
    planned: str
    found: str
    word: str
    """pass, fail, undecided or not measured."""


@dataclass(frozen=True)
class RunMade:
    """A run of the campaign, judged, beside what was planned."""

    run: str
    word: str
    reasons: tuple[str, ...]
    outside_cause: str | None
    as_planned: str
    """In a sentence."""
    steps: tuple[StepLine, ...]


@dataclass(frozen=True)
class NoteLine:
    """A note of the bench."""

    words: str
    who: str
    at: str


@dataclass(frozen=True)
class BurnInView:
    """What the burn-in page shows."""

    head: str
    slots: int
    campaign: int | None
    planned: int
    """Runs of the plan."""
    restart_rule: str
    tally: Tally
    next: PlannedRun | None
    entered: bool
    """Whether somebody said that the next recipe was entered."""
    paused: str | None
    """Why it is paused; None while it is not."""
    stopped: str | None
    """The rule that lets no further run begin; None while one may."""
    running: str | None
    """Run that is recorded now."""
    waiting: bool
    """Whether a recorder process holds the head, or is about to."""
    state: SeriesState | None
    last: RunMade | None
    notes: tuple[NoteLine, ...]

    @property
    def stage(self) -> str:
        """What tells a page that it has to be loaded anew."""
        made = self.state.made if self.state else ()
        ended = self.state.ended_at if self.state else None
        return f"{self.running} {self.waiting} {len(made)} {ended} {self.last and self.last.word}"


class RunnerDesk:
    """Shows the burn-in of a head, and takes its deeds.

    Parameters
    ----------
    home : Home
        Where recorders leave their state.
    ledger : Ledger
        The records.
    """

    def __init__(self, home: Home, ledger: Ledger) -> None:
        self._home = home
        self._ledger = ledger

    def view(self, head: str) -> BurnInView:
        """Give the burn-in of a head as it stands."""
        held, state = is_running(self._home, head), state_of(self._home, head)
        with self._ledger.reading() as records:
            campaign = records.campaign(head)
            runs = [r for r in records.runs(head) if campaign and r.campaign == campaign.number]
            plan = records.plan(campaign) if campaign else None
            planned = records.next_planned(head)
            running = [r.name for r in runs if r.state is RunState.RUNNING]
            pause = last_note(records, head, NoteKind.PAUSE, NoteKind.RESUME)
            done = [run for run in runs if run.outcome is not None]
            setup = present_setup(records, head)
            return BurnInView(
                head=head,
                slots=setup.head.slots,
                campaign=campaign.number if campaign else None,
                planned=len(plan.runs) if plan else 0,
                restart_rule=plan.restart_rule if plan else "",
                tally=records.tally(head),
                next=planned,
                entered=_is_entered(records, head, planned),
                paused=pause.text if pause and pause.about is NoteKind.PAUSE else None,
                stopped=_stopped(runs, held=held),
                running=running[-1] if running and held else None,
                waiting=held or _is_starting(state, utc_now()),
                state=state,
                last=_made(records, done[-1]) if done else None,
                notes=_notes(records, head, campaign),
            )

    def marks(self, run: str) -> tuple[NoteLine, ...]:
        """Give what was noted about a run, the newest first."""
        with self._ledger.reading() as records:
            head = records.run(run).head
            return tuple(
                NoteLine(fact_words(fact.content), fact.who, fact.at)
                for fact in reversed(records.attestations(unit=head))
                if isinstance(fact.content, BenchNote) and fact.content.run == run
            )

    def start(self, order: SeriesOrder, *, entered: bool) -> None:
        """Start a recorder process for the next planned runs of a head.

        Raises
        ------
        BusyError
            If the head's runs are being made; it says whose.
        GateClosedError
            If no run may begin, or the recipe was not entered at the controller.
        """
        with hold_series(self._home, order.head), self._ledger.reading() as records:
            planned = records.next_planned(order.head)
            require_resumed(records, order.head)
        if planned is None:
            raise GateClosedError(
                "there is no planned run to make",
                where=f"head {order.head}",
                mend="Open a campaign from a plan; when every planned run has counted, make the "
                "witnessed run.",
            )
        if not entered and not order.is_virtual:
            raise GateClosedError(
                "nobody said that the recipe was entered",
                where=f"planned run {planned.number} of head {order.head}",
                mend="Enter it at the controller step by step, compare, and tick it.",
            )
        if not order.is_virtual:
            self.note(order.head, NoteKind.ENTERED, "", order.by)
        start_recorder(self._home, order)

    def note(
        self,
        head: str,
        about: NoteKind,
        text: str,
        by: str,
        *,
        run: str | None = None,
        time_s: float | None = None,
    ) -> int:
        """Keep a note of the bench; gives its number."""
        with self._ledger.transaction(by, utc_now()) as records:
            campaign, planned = records.campaign(head), records.next_planned(head)
            entered = about is NoteKind.ENTERED
            note = BenchNote(
                about=about,
                campaign=campaign.number if campaign else None,
                planned=planned.number if planned and entered else None,
                run=run,
                time_s=time_s,
                text=text,
            )
            return records.state_fact(note, unit=head).id

    def end_recording(self, head: str, run: str, by: str) -> None:
        """Ask the recorder of a head to end; what was recorded is kept, and does not count.

        Raises
        ------
        RecordError
            If no recorder makes this run.
        """
        state = state_of(self._home, head)
        if state is None or not state.pid or not is_running(self._home, head):
            raise RecordError(
                "no recorder makes a run of this head now",
                where=f"head {head}",
                mend="Load the page again.",
            )
        if self.view(head).running != run:
            raise RecordError(
                f"run {run} is not recorded now", where=f"head {head}", mend="Load the page again."
            )
        self.note(head, NoteKind.PAUSE, f"recording of {run} ended by hand", by, run=run)
        os.kill(state.pid, signal.SIGINT)

    def end_campaign(self, head: str, why: str, by: str) -> None:
        """Close the open campaign before it is complete; what counted in it becomes void."""
        with hold_series(self._home, head), self._ledger.transaction(by, utc_now()) as records:
            records.close_campaign(head, Closing.ENDED_EARLY, why)


def _is_entered(records: ShopReading, head: str, planned: PlannedRun | None) -> bool:
    note = last_note(records, head, NoteKind.ENTERED)
    return bool(note and planned and note.planned == planned.number)


def _is_starting(state: SeriesState | None, now: datetime) -> bool:
    if state is None or state.pid or state.ended_at is not None:
        return False
    return rfc3339(now - STARTS_WITHIN) < state.began_at


def _stopped(runs: list[RunEntry], *, held: bool) -> str | None:
    for run in runs:
        if run.outcome is Outcome.RELEVANT_FAILURE:
            return (
                f"Run {run.name} is a relevant failure: the count starts again after one. Record "
                "what was changed on the head, or end this campaign, and open the next one."
            )
        if run.outcome is None and not held:
            return (
                f"Run {run.name} has no outcome, and its recorder is gone. The next start recovers "
                "what was recorded of it; it does not count."
            )
    return None


def _notes(records: ShopReading, head: str, campaign: CampaignEntry | None) -> tuple[NoteLine, ...]:
    number = campaign.number if campaign else None
    return tuple(
        NoteLine(fact_words(fact.content), fact.who, fact.at)
        for fact in reversed(records.attestations(unit=head))
        if isinstance(fact.content, BenchNote) and fact.content.campaign == number
    )


def _made(records: ShopReading, run: RunEntry) -> RunMade:
    """Lay what ran beside what was planned."""
    judgement, recipe = records.judgement(run.name), records.recipe(run.name)
    decisions = records.classifications(run.name)
    steps = planned_against_found(recipe, judgement) if judgement else ()
    return RunMade(
        run=run.name,
        word=run.outcome.value if run.outcome else "not judged",
        reasons=decisions[-1].reasons if decisions else (),
        outside_cause=judgement.outside_cause if judgement else None,
        as_planned=_as_planned(run, steps),
        steps=steps,
    )


def planned_against_found(recipe: Recipe, judgement: Judgement) -> tuple[StepLine, ...]:
    """Lay each step of the planned recipe beside what the trace shows of it.

    Parameters
    ----------
    recipe : Recipe
        What was planned.
    judgement : Judgement
        What was found.

    Returns
    -------
    tuple of StepLine
        One for each planned step.
    """
    found = {segment.step: segment for segment in judgement.segments}
    lines = []
    for number, step in enumerate(recipe.steps, 1):
        segment = found.get(number)
        own = [judgement.metric(name, number) for name in ("step_duration_error", "speed_error")]
        lines.append(
            StepLine(
                number=number,
                name=step.name,
                planned=step_in_words(step),
                found="not found in the trace"
                if segment is None
                else f"{segment.end_s - segment.start_s:.1f} s"
                + _at_speed(judgement.metric("hold_speed", number)),
                word=_worst([metric for metric in own if metric]) if segment else "fail",
            )
        )
    return tuple(lines)


def step_in_words(step: Step) -> str:
    """Say a step's duration and speed in few words."""
    basis = "from the command" if step.timer_basis is TimerBasis.FROM_COMMAND else "at speed"
    return f"{step.duration_s:g} s {basis}, {step.speed_rpm:g} rpm"


def _at_speed(speed: Metric | None) -> str:
    return "" if speed is None or speed.value is None else f", {speed.value:.0f} rpm"


def _worst(metrics: list[Metric]) -> str:
    words = [metric.verdict.value for metric in metrics if metric.verdict]
    order = ("fail", "undecided", "not measured", "pass")
    return next((word for word in order if word in words), "not measured")


def _as_planned(run: RunEntry, steps: tuple[StepLine, ...]) -> str:
    about = f"planned run {run.planned}" if run.planned else "this run"
    if not steps:
        return f"Nobody can say whether {about} ran as planned: no trace of it was judged."
    off = [f"{line.number} {line.name}" for line in steps if line.word != "pass"]
    if off:
        return f"What ran is not what was planned as {about}, in step {', step '.join(off)}."
    return (
        f"What ran is what was planned as {about}: all {len(steps)} steps in order, each with its "
        "duration and speed, with the planned load on the head as it is configured."
    )
