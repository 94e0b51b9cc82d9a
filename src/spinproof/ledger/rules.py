"""What may follow what: pure rules over entries, each a refusal that says why and what to do."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime

from spinproof.ledger.entries import (
    CampaignEntry,
    ClassificationEntry,
    Closing,
    JudgementEntry,
    RunEntry,
    RunState,
    UnitEntry,
    UnitKind,
)
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import Attempt, Tally
from spinproof.model.plan import Plan, PlannedRun
from spinproof.model.run import Outcome, Purpose

JUDGE = "judge"
"""Who decides when the software does; no person may sign by this name."""


def utc_text(at: datetime) -> str:
    """Write an instant as RFC 3339 in UTC, with milliseconds and Z.

    Parameters
    ----------
    at : datetime
        The instant, with its offset from UTC.

    Returns
    -------
    str
        For example 2031-05-06T07:08:09.123Z.

    Raises
    ------
    RecordError
        If the instant carries no offset: nobody can say when it was.
    """
    if at.utcoffset() is None:
        raise RecordError(
            "the time carries no offset from UTC",
            where=f"time {at.isoformat()}",
            mend="Give the time with its offset, for example 2031-05-06T07:08:09+00:00.",
        )
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def plain_text(value: str, what: str) -> str:
    """Give a text that a person wrote, without white space around it.

    Parameters
    ----------
    value : str
        The text.
    what : str
        What it is, for the message.

    Returns
    -------
    str
        The text, fit to be stored and printed.

    Raises
    ------
    RecordError
        If the text is empty, or holds control characters or broken Unicode.
    """
    text = value.strip()
    if not text or not all(c.isprintable() or c in "\n\t" for c in text):
        problem = "holds characters that cannot be printed" if text else "is empty"
        raise RecordError(
            f"the {what} {problem}",
            where=f"{what} {value!r}",
            mend=f"Write the {what} as plain text.",
        )
    return text


def require_in_scope(head: UnitEntry) -> None:
    """Refuse work that would claim something about a unit out of scope.

    Parameters
    ----------
    head : UnitEntry
        The unit that a run or campaign is asked for.

    Raises
    ------
    GateClosedError
        If the head is out of scope.
    RecordError
        If the unit is no head.
    """
    if head.kind is not UnitKind.HEAD:
        raise RecordError(
            f"a {head.kind} is no head: it runs nothing and passes no gate",
            where=f"unit {head.designation}",
            mend="Name one of the heads of the machine.",
        )
    if not head.in_scope:
        raise GateClosedError(
            "the head is out of scope: nothing is run on it and nothing claimed of it",
            where=f"head {head.designation}",
            mend="Have the scope changed by the customer first, or name a head in scope.",
        )


def require_idle(head: str, running: RunEntry | None) -> None:
    """Refuse while a run of the head has not ended.

    Parameters
    ----------
    head : str
        Designation of the head.
    running : RunEntry or None
        The run of the head that is still running, if any.

    Raises
    ------
    GateClosedError
        If there is one.
    """
    if running is not None:
        raise GateClosedError(
            f"run {running.name} has not ended",
            where=f"head {head}",
            mend="Wait for its end; if its recorder died, recover its journal first.",
        )


def require_unbroken(campaign: CampaignEntry, runs: Iterable[RunEntry]) -> None:
    """Refuse to go on counting after a relevant failure, or past a run that nobody judged.

    Parameters
    ----------
    campaign : CampaignEntry
        The open campaign.
    runs : iterable of RunEntry
        Its runs so far.

    Raises
    ------
    GateClosedError
        If one of them failed, or has no outcome yet.
    """
    for run in runs:
        if run.outcome is Outcome.RELEVANT_FAILURE:
            raise GateClosedError(
                f"run {run.name} is a relevant failure, and the count starts again after one",
                where=f"campaign {campaign.number} of head {campaign.head}",
                mend="Record what was changed on the head, or close the campaign; then open the "
                "next one. If the cause lay outside the head, classify the run first.",
            )
        if run.outcome is None:
            raise GateClosedError(
                f"run {run.name} has no outcome yet",
                where=f"campaign {campaign.number} of head {campaign.head}",
                mend="Judge it, or classify it as aborted, before the next run.",
            )


def counted_by_plan(runs: Iterable[RunEntry]) -> dict[int, str]:
    """Give the counted run of each planned run that has one.

    Parameters
    ----------
    runs : iterable of RunEntry
        Runs of one campaign.

    Returns
    -------
    dict of int to str
        Name of the counted run by number of the planned run.
    """
    return {
        run.planned: run.name
        for run in runs
        if run.planned is not None
        and run.purpose is Purpose.BURN_IN
        and run.outcome is Outcome.COUNTED
    }


def next_planned(plan: Plan, counted: Mapping[int, str]) -> PlannedRun | None:
    """Give the first planned run that no run has counted for.

    Parameters
    ----------
    plan : Plan
        The campaign's plan.
    counted : mapping of int to str
        As from `counted_by_plan`.

    Returns
    -------
    PlannedRun or None
        None when every planned run has counted.
    """
    return next((run for run in plan.runs if run.number not in counted), None)


def require_planned(
    plan: Plan,
    planned: int | None,
    counted: Mapping[int, str],
    *,
    recipe_is_planned: bool,
    load_is_planned: bool,
    head_is_planned: bool,
) -> None:
    """Refuse a burn-in run that does not carry out a planned run that is still to be made.

    Parameters
    ----------
    plan : Plan
        The campaign's plan.
    planned : int or None
        Number of the planned run that is asked for.
    counted : mapping of int to str
        As from `counted_by_plan`.
    recipe_is_planned, load_is_planned, head_is_planned : bool
        Whether recipe, load and head spec are those of the plan.

    Raises
    ------
    RecordError
        If the plan has no run of this number, or stands on another head spec.
    GateClosedError
        If recipe or load differ from the plan, or the planned run has counted already.
    """
    where = f"plan {plan.name} of head {plan.head}"
    if planned is None or all(run.number != planned for run in plan.runs):
        raise RecordError(
            f"the plan has no run {planned}" if planned else "the run names no planned run",
            where=where,
            mend=f"Name one of the planned runs, 1 to {len(plan.runs)}.",
        )
    if not head_is_planned:
        raise RecordError(
            "the head spec is not the one the plan was made for",
            where=where,
            mend="Make a new plan from the head spec that is now in use.",
        )
    if not (recipe_is_planned and load_is_planned):
        raise GateClosedError(
            f"the {'load' if recipe_is_planned else 'recipe'} is not that of planned run {planned}"
            ", so the run could never count",
            where=where,
            mend="Load what the plan names, or make the run as a trial, which counts for nothing.",
        )
    if planned in counted:
        raise GateClosedError(
            f"planned run {planned} has counted already, as run {counted[planned]}",
            where=where,
            mend="Go on with the next planned run.",
        )


def require_complete(campaign: CampaignEntry, plan: Plan, counted: Mapping[int, str]) -> None:
    """Refuse the witnessed run, or the close of a campaign, before every planned run counted.

    Parameters
    ----------
    campaign : CampaignEntry
        The open campaign.
    plan : Plan
        Its plan.
    counted : mapping of int to str
        As from `counted_by_plan`.

    Raises
    ------
    GateClosedError
        If a planned run has not counted.
    """
    if (first := next_planned(plan, counted)) is not None:
        raise GateClosedError(
            f"{len(counted)} of {len(plan.runs)} planned runs have counted",
            where=f"campaign {campaign.number} of head {campaign.head}",
            mend=f"Make the rest first; planned run {first.number} is next.",
        )


def require_countable(
    run: RunEntry,
    campaign: CampaignEntry | None,
    judged: JudgementEntry | None,
    counted: Mapping[int, str],
) -> None:
    """Refuse to count a run that the judge failed, or that the campaign cannot hold.

    Parameters
    ----------
    run : RunEntry
        The run.
    campaign : CampaignEntry or None
        Its campaign; None for a run outside the burn-in.
    judged : JudgementEntry or None
        The judgement in force.
    counted : mapping of int to str
        As from `counted_by_plan`, over the campaign.

    Raises
    ------
    GateClosedError
        If the run cannot count.
    """
    if judged is None or judged.outcome is not Outcome.COUNTED:
        found = "has not judged it" if judged is None else f"found: {judged.outcome}"
        raise GateClosedError(
            f"nobody counts a run that the judge did not find in order; the judge {found}",
            where=f"run {run.name}",
            mend="Repeat the planned run; this one stays in the record with its outcome.",
        )
    if campaign is not None and run.configuration != campaign.configuration:
        raise GateClosedError(
            "the run was made with another configuration than its campaign",
            where=f"run {run.name}",
            mend="Repeat the planned run with the configuration of the campaign.",
        )
    if run.purpose is Purpose.BURN_IN and counted.get(run.planned or 0, run.name) != run.name:
        raise GateClosedError(
            f"planned run {run.planned} has counted already, as run {counted[run.planned or 0]}",
            where=f"run {run.name}",
            mend="Leave this run with its outcome; a planned run counts once.",
        )


def require_decision(
    run: RunEntry,
    outcome: Outcome,
    judged: JudgementEntry | None,
    *,
    by: str,
    second: str | None,
    reasons: Sequence[str],
    evidence: Sequence[str],
) -> None:
    """Refuse a person's decision on a run that lacks what such a decision needs.

    Parameters
    ----------
    run : RunEntry
        The run.
    outcome : Outcome
        What the person decides.
    judged : JudgementEntry or None
        The judgement in force.
    by : str
        Who decides.
    second : str or None
        Who confirms.
    reasons : sequence of str
        Why.
    evidence : sequence of str
        SHA-256 of the evidence.

    Raises
    ------
    GateClosedError
        If the run has not ended or has no judgement, if reasons are missing, or if evidence or
        a second name are missing for an outside cause or to take back a relevant failure.
    """
    where = f"run {run.name}"
    if run.state is RunState.RUNNING:
        raise GateClosedError(
            "the run has not ended", where=where, mend="Wait for its end, or recover its journal."
        )
    if judged is None and outcome is not Outcome.ABORTED:
        raise GateClosedError(
            "the run has no judgement, so it can only be called aborted",
            where=where,
            mend="Judge its trace first.",
        )
    if not reasons:
        raise GateClosedError(
            "the decision gives no reason", where=where, mend="Say in a sentence why."
        )
    taken_back = judged is not None and judged.outcome is Outcome.RELEVANT_FAILURE != outcome
    if outcome is Outcome.INVALID_OUTSIDE or taken_back:
        what = "an outside cause" if outcome is Outcome.INVALID_OUTSIDE else "taking back a failure"
        if not evidence:
            raise GateClosedError(
                f"{what} needs evidence, and none is named",
                where=where,
                mend="Add the record that shows the cause, for example the log of the supply.",
            )
        if second is None or second.casefold() == by.casefold():
            raise GateClosedError(
                f"{what} needs a second name, different from {by}",
                where=where,
                mend="Have a second person look at the evidence and confirm.",
            )


def follows_rejudgement(
    run: RunEntry,
    current: ClassificationEntry,
    first: JudgementEntry,
    new: JudgementEntry,
) -> bool:
    """Tell whether a new judgement changes the outcome in force.

    A person's decision stays, unless it counted a run that the judge now fails.

    Parameters
    ----------
    run : RunEntry
        The run.
    current : ClassificationEntry
        The classification in force.
    first : JudgementEntry
        The first judgement of the run.
    new : JudgementEntry
        The new judgement.

    Returns
    -------
    bool
        Whether the judge's new outcome takes over.

    Raises
    ------
    GateClosedError
        If other limits than those of the first judgement would turn a run into a counted one.
    """
    if new.outcome is current.outcome:
        return False
    if new.outcome is Outcome.COUNTED and new.limits_sha256 != first.limits_sha256:
        raise GateClosedError(
            "limits that were set after the reading cannot turn the run into a counted one",
            where=f"run {run.name}",
            mend="Judge it by the limits of its first judgement, or repeat the planned run.",
        )
    return current.decided_by == JUDGE or current.outcome is Outcome.COUNTED


def is_void(outcome: Outcome | None, closing: Closing | None) -> bool:
    """Tell whether a run counted in a campaign that was closed before it was complete.

    Parameters
    ----------
    outcome : Outcome or None
        The run's outcome.
    closing : Closing or None
        How its campaign was closed; None while it is open.

    Returns
    -------
    bool
        Whether the count is void.
    """
    return outcome is Outcome.COUNTED and closing not in {None, Closing.COMPLETE}


def tally_of(attempts: Iterable[Attempt]) -> Tally:
    """Add up the attempts of a burn-in; witnessed runs and trials are left out.

    Parameters
    ----------
    attempts : iterable of Attempt
        Attempts of one head.

    Returns
    -------
    Tally
        The parts; they add up to the whole.
    """
    burn_in = [attempt for attempt in attempts if attempt.purpose is Purpose.BURN_IN]
    outcomes = [attempt.outcome for attempt in burn_in]
    void = sum(attempt.void for attempt in burn_in)
    return Tally(
        attempts=len(burn_in),
        counted=outcomes.count(Outcome.COUNTED) - void,
        void=void,
        relevant_failures=outcomes.count(Outcome.RELEVANT_FAILURE),
        invalid=outcomes.count(Outcome.INVALID_OUTSIDE) + outcomes.count(Outcome.INVALID_OPERATOR),
        aborted=outcomes.count(Outcome.ABORTED),
    )
