"""A shop whose head has a burn-in of made-up judgements, with a creep in one metric."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from tests.demo_files import LIMITS, LOWER
from tests.shop import HEAD, Shop, open_shop, short_plan

from spinproof.files.canonical import digest_of
from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger.entries import RunEntry
from spinproof.model.judgement import Judgement, Metric
from spinproof.model.plan import Cell, Plan
from spinproof.model.run import Ending, Outcome, Purpose

BEGIN = datetime(2031, 5, 6, 7, 0, 0, tzinfo=UTC)
LADDER = 2
PLAN = 30


def made_plan() -> Plan:
    """Give a plan of short runs whose first ones are the gentle ladder."""
    plan = short_plan(PLAN)
    runs = tuple(
        run.model_copy(update={"cell": Cell.LADDER}) if run.number <= LADDER else run
        for run in plan.runs
    )
    return plan.model_copy(update={"runs": runs})


def drifting_shop(root: Path, pace: float, fails: int | None = None) -> Shop:
    """Give a shop after a burn-in whose seal loses more from run to run.

    Parameters
    ----------
    root : Path
        Where its home folder goes.
    pace : float
        Change of the seal's loss from run to run. [%/min]
    fails : int, optional
        Number of the run that is a relevant failure, and the last one.
    """
    shop, rng = open_shop(root), np.random.default_rng(6)
    with shop.ledger.transaction("TT-1", BEGIN) as records:
        records.open_campaign(HEAD, made_plan())
    for number in range(1, (fails or PLAN) + 1):
        loss = 2.0 + pace * number + 0.1 * rng.standard_normal()
        _made(shop, number, loss, rng, Outcome.RELEVANT_FAILURE if number == fails else None)
    return shop


def _made(
    shop: Shop, number: int, loss: float, rng: np.random.Generator, outcome: Outcome | None
) -> None:
    now = BEGIN + timedelta(minutes=10 * number)
    with shop.ledger.transaction("TT-1", now) as records:
        planned = records.next_planned(HEAD)
        assert planned is not None
        run = records.start_run(
            HEAD,
            purpose=Purpose.BURN_IN,
            recipe=planned.recipe,
            load=planned.load,
            spec=LOWER,
            planned=planned.number,
        )
        trace = sha256_of_bytes(run.name.encode())
        records.finish_run(run.name, Ending.COMPLETE, trace)
        judged = _judgement(run, trace, loss, rng, outcome or Outcome.COUNTED)
        records.add_judgement(run.name, judged, LIMITS)


def _judgement(
    run: RunEntry, trace: str, loss: float, rng: np.random.Generator, outcome: Outcome
) -> Judgement:
    seal = Metric(
        name="seal_loss", unit="%/min", value=loss, limit=LIMITS.for_metric("seal_loss", None)
    )
    steady = tuple(
        Metric(name=name, unit="1", value=float(rng.standard_normal()))
        for name in ("vent_time", "index_time", "tach_agreement", "coast_time_error")
    )
    return Judgement(
        run=run.name,
        trace_sha256=trace,
        recipe_sha256=run.recipe_sha256,
        head_sha256=run.head_sha256,
        limits_sha256=digest_of(LIMITS.to_document()),
        limits_name=LIMITS.name,
        software="made up 1",
        simulated=True,
        ending=Ending.COMPLETE,
        segments=(),
        events=(),
        metrics=(seal, *steady),
        incidents=(),
        outcome=outcome,
        reasons=("made up for a test",),
    )
