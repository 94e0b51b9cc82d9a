"""The burn-in: open a campaign, make its runs one by one, classify them, witness the last."""

from dataclasses import dataclass

from spinproof.app.binding_record import demand_binding
from spinproof.app.clock import utc_now
from spinproof.app.home import Home
from spinproof.app.intake import HeadSetup, present_setup
from spinproof.app.recording import OnProgress, RunOrder, StandAddress, record
from spinproof.app.recovery import end_run, hold_head, store_run
from spinproof.ledger.entries import CampaignEntry, ClassificationEntry, RunEntry
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import GateClosedError, RecordError, SpinproofError
from spinproof.model.handover import Attempt, Tally
from spinproof.model.judgement import Judgement
from spinproof.model.load import Load
from spinproof.model.plan import Plan
from spinproof.model.program import Fault, Program
from spinproof.model.recipe import Recipe
from spinproof.model.run import Outcome, Purpose
from spinproof.model.trace import Trace
from spinproof.record.recorder import Pace


@dataclass(frozen=True)
class Station:
    """Where a head is run: the shop's folders, its ledger, the head, the stand, the operator."""

    home: Home
    ledger: Ledger
    head: str
    address: StandAddress
    operator: str
    simulated_start: bool = False
    """Whether to start the runs; only a simulated stand can be started."""
    seed: int = 0
    """Seed of a simulated stand."""
    pace: Pace | None = None
    """How often and how patiently the recorder asks."""


@dataclass(frozen=True)
class RunDone:
    """A run that was made: its record, its judgement, and the tally since."""

    entry: RunEntry
    judgement: Judgement
    outcome: Outcome
    tally: Tally


def open_campaign(ledger: Ledger, head: str, plan: Plan, *, by: str) -> CampaignEntry:
    """Begin a burn-in under a plan and the head's present configuration.

    Raises
    ------
    RecordError
        If the head is unknown, or the plan is for another head.
    GateClosedError
        If a campaign is open, or the head is out of scope or has no configuration.
    """
    with ledger.transaction(by, utc_now()) as records:
        return records.open_campaign(head, plan)


def make_next_run(
    station: Station, *, faults: tuple[Fault, ...] = (), on_progress: OnProgress | None = None
) -> RunDone:
    """Make the next planned run: number it, record it, judge it, store what became of it.

    Parameters
    ----------
    station : Station
        Where.
    faults : tuple of Fault
        What a simulated stand shall do wrong.
    on_progress : callable, optional
        Is called with the state of the recording.

    Returns
    -------
    RunDone
        What was made.

    Raises
    ------
    GateClosedError
        If no campaign is open, or every planned run has counted.
    """
    with station.ledger.reading() as reading:
        planned = reading.next_planned(station.head)
    if planned is None:
        raise GateClosedError(
            "there is no planned run to make",
            where=f"head {station.head}",
            mend="Open a campaign from a plan; when every planned run has counted, make the "
            "witnessed run.",
        )
    return _make_run(
        station,
        Purpose.BURN_IN,
        planned.recipe,
        planned.load,
        planned=planned.number,
        faults=faults,
        on_progress=on_progress,
    )


def make_witnessed_run(
    station: Station, recipe: Recipe, load: Load, *, on_progress: OnProgress | None = None
) -> RunDone:
    """Make the run of the source inspection: the customer's recipe with the customer's load."""
    return _make_run(station, Purpose.WITNESS, recipe, load, on_progress=on_progress)


def _make_run(
    station: Station,
    purpose: Purpose,
    recipe: Recipe,
    load: Load,
    *,
    planned: int | None = None,
    faults: tuple[Fault, ...] = (),
    on_progress: OnProgress | None = None,
) -> RunDone:
    with hold_head(station.home, station.head):
        if not station.simulated_start:  # a real stand refuses to be started
            with station.ledger.reading() as reading:
                demand_binding(reading, station.head, station.address)
        with station.ledger.transaction(station.operator, utc_now()) as records:
            setup = present_setup(records, station.head)
            entry = records.start_run(
                station.head,
                purpose=purpose,
                recipe=recipe,
                load=load,
                spec=setup.head,
                planned=planned,
            )
        try:
            trace = _record(station, entry, setup, recipe, load, faults, on_progress)
        except (SpinproofError, KeyboardInterrupt):
            end_run(station.home, station.ledger, entry)  # its number is spent: it is aborted
            raise
        store_run(station.ledger, entry, setup, trace)
    return _run_done(station, entry.name)


def _record(
    station: Station,
    entry: RunEntry,
    setup: HeadSetup,
    recipe: Recipe,
    load: Load,
    faults: tuple[Fault, ...],
    on_progress: OnProgress | None,
) -> Trace:
    order = RunOrder(
        run=entry.name,
        purpose=entry.purpose,
        recipe=recipe,
        head=setup.head,
        load=load,
        channels=setup.channels,
        configuration=entry.configuration,
        keys=station.home.keys,
    )
    program = None
    if station.simulated_start:
        program = Program(
            run_number=entry.number, seed=station.seed, recipe=recipe, load=load, faults=faults
        )
    home = station.home
    return record(
        order,
        station.address,
        home.journals,
        home.traces,
        program=program,
        on_progress=on_progress,
        pace=station.pace,
    )


def _run_done(station: Station, run: str) -> RunDone:
    with station.ledger.reading() as reading:
        entry, judgement = reading.run(run), reading.judgement(run)
        if entry.outcome is None or judgement is None:
            raise RecordError(
                "the run was not judged",
                where=f"run {run}",
                mend="Recover the home folder with `spinproof recover`.",
            )
        return RunDone(entry, judgement, entry.outcome, reading.tally(station.head))


def classify_run(
    ledger: Ledger,
    run: str,
    outcome: Outcome,
    *,
    by: str,
    reasons: tuple[str, ...],
    evidence: tuple[str, ...] = (),
    second: str | None = None,
) -> ClassificationEntry:
    """Decide on a run as a person; the judge's own decision stays on record.

    Raises
    ------
    GateClosedError
        If the rules do not allow it: an outside cause needs evidence and a second name, and
        nobody counts what the judge did not count.
    """
    with ledger.transaction(by, utc_now()) as records:
        return records.classify(run, outcome, reasons=reasons, evidence=evidence, second=second)


def attempts(ledger: Ledger, head: str) -> tuple[tuple[Attempt, ...], Tally]:
    """Give all attempts of a head, and how they add up."""
    with ledger.reading() as reading:
        return reading.attempts(head), reading.tally(head)
