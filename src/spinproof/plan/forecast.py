"""What a plan will take: time, water, nitrogen, and the odds of ending it at the first go."""

from collections.abc import Sequence

from spinproof.model.head import HeadSpec
from spinproof.model.plan import Budgets, Plan
from spinproof.model.plan_quality import Forecast, Odds
from spinproof.plan.pacing import along
from spinproof.stats.restarts import chance_within_attempts, expected_runs_until_clean


def forecast(plan: Plan, head: HeadSpec, reliabilities: Sequence[float]) -> Forecast:
    """Give what a plan will take if all goes well, and how likely that is.

    Parameters
    ----------
    plan : Plan
        The plan.
    head : HeadSpec
        Gives flows and the duty limit.
    reliabilities : sequence of float
        Probabilities of a good run to give the odds for. [1]

    Returns
    -------
    Forecast
        Time, water, nitrogen, warmth along the order, and odds.

    Raises
    ------
    OutOfRangeError
        If a reliability does not lie between 0 and 1.
    """
    budgets = plan.asked.budgets if plan.asked else Budgets()
    steps, runs = along(plan.runs, head, budgets), len(plan.runs)
    process = plan.process_time_s
    return Forecast(
        process_time_s=process,
        pauses_s=steps[-1].end_s - process,
        water_l=steps[-1].water_l,
        nitrogen_m3=steps[-1].nitrogen_m3,
        blocks=max(run.block for run in plan.runs),
        along=steps,
        odds=tuple(
            Odds(each, chance_within_attempts(each, runs, 1), expected_runs_until_clean(each, runs))
            for each in reliabilities
        ),
    )
