"""R30 to R36: which runs count."""

from spinproof.ledger import rules
from spinproof.ledger.entries import RunEntry
from spinproof.ledger.head_file import HeadFile, LoadFacts
from spinproof.ledger.rulebook.rule import Force, Rule, listed
from spinproof.ledger.shop_entries import Action, MatterEntry, Step
from spinproof.ledger.states import NonconformanceState
from spinproof.model.access import name_key
from spinproof.model.attestation import Unloading
from spinproof.model.check import Checkpoint
from spinproof.model.matter import MatterKind, Nonconformance
from spinproof.model.part import Severity
from spinproof.model.run import Ending, Outcome, Purpose

LEAST_RUNS = 50
"""Counted runs in a row that a burn-in needs when the order does not say (shop default)."""


def _counted_soundly(file: HeadFile, _: Step) -> tuple[str, ...]:
    judged = {attempt.run: attempt.judgement_sha256 for attempt in file.attempts}
    found = []
    for run in file.runs:
        if run.outcome is not Outcome.COUNTED:
            continue
        if run.ending not in {Ending.COMPLETE, Ending.IMPORTED} or run.trace_sha256 is None:
            found.append(f"Run {run.name} counts, and its recording is {run.ending}.")
        if run.purpose is not Purpose.TRIAL and not judged.get(run.name):
            found.append(f"Run {run.name} counts, and was never judged.")
    return tuple(found)


def _adds_up(file: HeadFile, _: Step) -> tuple[str, ...]:
    tally = rules.tally_of(file.attempts)
    parts = (tally.counted, tally.void, tally.relevant_failures, tally.invalid, tally.aborted)
    burn_in = [r for r in file.runs if r.purpose is Purpose.BURN_IN and r.outcome is not None]
    if sum(parts) != tally.attempts or tally.attempts != len(burn_in):
        return (f"The attempts do not add up: {tally}, and {len(burn_in)} runs are on record.",)
    return ()


def _outside_causes_shown(file: HeadFile, _: Step) -> tuple[str, ...]:
    return tuple(
        f"Run {attempt.run} is invalid for an outside cause, without evidence or a second person."
        for attempt in file.attempts
        if attempt.outcome is Outcome.INVALID_OUTSIDE
        and (
            not attempt.evidence
            or attempt.second_name is None
            or name_key(attempt.second_name) == name_key(attempt.decided_by)
        )
    )


def required_runs(file: HeadFile) -> int:
    """Give how many counted runs in a row the order asks for."""
    return file.terms.required_runs or LEAST_RUNS


def _enough_runs(file: HeadFile, _: Step) -> tuple[str, ...]:
    if not file.campaigns:
        return ()  # that there is none is said by the checkpoint itself
    last = file.campaigns[-1].number
    counted = [
        run
        for run in file.runs
        if run.campaign == last
        and run.purpose is Purpose.BURN_IN
        and run.outcome is Outcome.COUNTED
    ]
    asked = required_runs(file)
    if len(counted) >= asked:
        return ()
    source = "The order" if file.terms.required_runs else "The shop"
    return (
        f"{source} asks for {asked} counted runs in a row; campaign {last} has {len(counted)}.",
    )


def _loads_balanced(file: HeadFile, _: Step) -> tuple[str, ...]:
    return tuple(
        f"The load of run {name} puts the rotor out of balance by {load.unbalance_g_mm:.0f} g mm, "
        f"{load.unbalance_g_mm / load.limit_g_mm:.2f} times what is permissible at its speed "
        f"({load.limit_g_mm:.1f} g mm), and shakes it with {load.force_n:.1f} N: load the "
        f"cassettes alike{_dummies(load)}."
        for name, load in file.loads.items()
        if load.unbalance_g_mm > load.limit_g_mm
    )


def _dummies(load: LoadFacts) -> str:
    slots = ", ".join(map(str, load.dummies))
    return f", with a dummy in slot {slots}" if slots else ""


def broken_wafers(file: HeadFile) -> tuple[MatterEntry, ...]:
    """Give the open nonconformances about wafers that did not come out whole.

    Parameters
    ----------
    file : HeadFile
        Records of the head.

    Returns
    -------
    tuple of MatterEntry
        Each names a run.
    """
    unloaded = {fact.run for _, fact in file.stated(Unloading)}
    return tuple(
        matter
        for matter in file.of_kind(MatterKind.NONCONFORMANCE)
        if matter.state is not NonconformanceState.CLOSED
        and isinstance(matter.content, Nonconformance)
        and matter.content.run in unloaded
    )


def _wafers_whole(file: HeadFile, step: Step) -> tuple[str, ...]:
    found = [
        f"{matter.name} is open: wafers of {_run_of(matter)} did not come out whole. Bowl, drain "
        "and filter are inspected first."
        for matter in broken_wafers(file)
    ]
    if step is Checkpoint.FINAL_TEST:
        unloaded = {fact.run for _, fact in file.stated(Unloading)}
        silent = [run.name for run in _counted_and_loaded(file) if run.name not in unloaded]
        if silent:
            found.append(
                f"{len(silent)} counted runs do not say how many wafers came out: {listed(silent)}."
            )
    return tuple(found)


def _run_of(matter: MatterEntry) -> str:
    return (matter.content.run or "a run") if isinstance(matter.content, Nonconformance) else ""


def _counted_and_loaded(file: HeadFile) -> list[RunEntry]:
    return [
        run
        for run in file.runs
        if run.outcome is Outcome.COUNTED
        and run.purpose is Purpose.BURN_IN
        and run.wafer_count
        and not run.void
    ]


def _door_in_order(file: HeadFile, _: Step) -> tuple[str, ...]:
    counted = {run.name for run in file.runs if run.outcome is Outcome.COUNTED}
    return tuple(
        f"Run {matter.content.run} counts, and {matter.name} says that its door was released out "
        "of order."
        for matter in file.of_kind(MatterKind.NONCONFORMANCE)
        if isinstance(matter.content, Nonconformance)
        and matter.content.severity is Severity.SAFETY
        and matter.content.text.startswith(DOOR_ORDER)
        and matter.content.run in counted
    )


DOOR_ORDER = "Door released out of order"
"""How the nonconformance about such a run begins."""

RUNNING = (
    Rule(
        "R30",
        "A run counts only when the judge found every step reached and held, the stop chain "
        "complete and in order, no stop press, no gap, and its load is recorded.",
        Force.ALWAYS,
        "the judge; counting a run",
        _counted_soundly,
    ),
    Rule(
        "R31",
        "Attempts, counted, void, relevant failures and invalid runs print together and add up; "
        "what a run is for is said before it starts.",
        Force.ALWAYS,
        "the tally; the purpose of a run is never changed",
        _adds_up,
        full_process_only=False,
    ),
    Rule(
        "R32",
        "A run is invalid for an outside cause on independent evidence and a second person's word.",
        Force.ALWAYS,
        "classifying a run",
        _outside_causes_shown,
        full_process_only=False,
    ),
    Rule(
        "R33",
        "The last campaign has as many counted runs in a row as the order asks for, 50 when it "
        "does not say, and carries out every planned run.",
        Force.GATE,
        "passing the final test and the release",
        _enough_runs,
        passing=frozenset({Checkpoint.FINAL_TEST, Checkpoint.RELEASE}),
    ),
    Rule(
        "R34",
        "The cassettes of an off-axis head are loaded alike, or the predicted unbalance is "
        "permissible, before the start.",
        Force.ALWAYS,
        "starting a run",
        _loads_balanced,
    ),
    Rule(
        "R35",
        "As many wafers come out as went in, whole; a breakage stops the campaign until bowl, "
        "drain and filter are inspected.",
        Force.GATE,
        "recording what came out raises a nonconformance; starting a run; passing the final test",
        _wafers_whole,
        entering=frozenset({Action.COUNT}),
        passing=frozenset({Checkpoint.FINAL_TEST}),
    ),
    Rule(
        "R36",
        "The door is released only when the rotor is slow, indexed and the seal vented, in that "
        "order; any other order is a failure of safety.",
        Force.ALWAYS,
        "the judge; a judgement with another order raises a nonconformance of safety",
        _door_in_order,
    ),
)
"""The rules of runs."""
