"""What the tests of the ledger put into it."""

from datetime import UTC, datetime, timedelta

from tests.demo_files import CR_1, JOB, LIMITS, LOWER, PARTIAL_LOAD

from spinproof.files.canonical import digest_of
from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger.entries import RunEntry
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.records import Records
from spinproof.model.judgement import Judgement
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.plan import Plan
from spinproof.model.recipe import Recipe
from spinproof.model.run import Ending, Outcome, Purpose
from spinproof.plan.planning import make_plan

AT = datetime(2031, 5, 6, 7, 8, 9, 123000, tzinfo=UTC)
HEAD = "QM-207-L"
DECLINED = "QM-207-U"
AS_BUILT = {"head": HEAD, "settings": {"tach gap": "0.80 mm"}}
CORRECTED = {"head": HEAD, "settings": {"tach gap": "0.80 mm", "lock-nut": "2.5 N m"}}
PLAN: Plan = make_plan("burn-in", LOWER, (CR_1,), 2, 1, 4, 7, PARTIAL_LOAD)
LIMITS_SHA256 = digest_of(LIMITS.to_document())
SUPPLY_LOG = sha256_of_bytes(b"pressure of the supply")


def later(seconds: float) -> datetime:
    return AT + timedelta(seconds=seconds)


def judged(
    run: RunEntry,
    outcome: Outcome,
    *,
    software: str = "spinproof 0.1.0",
    limits: LimitSet = LIMITS,
) -> Judgement:
    """Write a judgement of a run, as the judge would."""
    return Judgement(
        run=run.name,
        trace_sha256=run.trace_sha256 or "",
        recipe_sha256=run.recipe_sha256,
        head_sha256=run.head_sha256,
        limits_sha256=digest_of(limits.to_document()),
        limits_name=limits.name,
        software=software,
        simulated=True,
        ending=Ending.COMPLETE,
        segments=(),
        events=(),
        metrics=(),
        incidents=(),
        outcome=outcome,
        reasons=(f"found {outcome}",),
    )


def take_in(ledger: Ledger) -> None:
    """Take in the demo job."""
    with ledger.transaction("RT-1", AT) as records:
        records.add_job(JOB)


def open_burn_in(ledger: Ledger, plan: Plan = PLAN) -> None:
    """Take in the demo job and open the first campaign of its head in scope."""
    take_in(ledger)
    with ledger.transaction("AS-2", AT) as records:
        records.set_configuration(HEAD, AS_BUILT, "as built")
        records.open_campaign(HEAD, plan)


def start(
    records: Records,
    planned: int | None = None,
    *,
    purpose: Purpose = Purpose.BURN_IN,
    recipe: Recipe = CR_1,
    load: Load = PARTIAL_LOAD,
) -> RunEntry:
    """Start a run of the head: the planned one, or the customer's recipe."""
    if planned is not None:
        asked = PLAN.runs[planned - 1]
        recipe, load = asked.recipe, asked.load
    return records.start_run(
        HEAD, purpose=purpose, recipe=recipe, load=load, spec=LOWER, planned=planned
    )


def finish(records: Records, run: RunEntry, ending: Ending = Ending.COMPLETE) -> RunEntry:
    """End a run with a trace of its own."""
    return records.finish_run(run.name, ending, sha256_of_bytes(run.name.encode()))


def attempt(
    records: Records,
    outcome: Outcome,
    planned: int | None = None,
    *,
    purpose: Purpose = Purpose.BURN_IN,
) -> RunEntry:
    """Start, finish and judge a run."""
    if planned is None and purpose is Purpose.BURN_IN:
        planned = records.next_planned(HEAD).number
    run = finish(records, start(records, planned, purpose=purpose))
    records.add_judgement(run.name, judged(run, outcome), LIMITS)
    return records.run(run.name)


def add_supply_log(records: Records) -> str:
    """Hold the log of the supply as evidence; give its hash."""
    records.add_evidence("QA-1041", SUPPLY_LOG, "supply.csv", "pressure of the DI supply")
    return SUPPLY_LOG
