"""Pauses, shifts, warmth and what a plan uses up."""

import math

import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD

from spinproof.model.errors import OutOfRangeError, PlanError
from spinproof.model.plan import Asked, Budgets, Cell, PlannedRun
from spinproof.plan.forecast import forecast
from spinproof.plan.pacing import along, cycling_peak, drive_strain, paced, use_of
from spinproof.plan.planning import compose

RUNS = [PlannedRun(number=1, cell=Cell.CUSTOMER, recipe=CR_1, load=PARTIAL_LOAD) for _ in range(40)]


def asked(**budgets: float) -> Asked:
    return Asked(
        customer=(CR_1,),
        customer_load=PARTIAL_LOAD,
        customer_runs=2,
        corner_runs=2,
        total_runs=24,
        budgets=Budgets.model_validate(budgets),
    )


def test_the_peak_of_endless_cycling_is_met_along_equal_runs():
    """CR-1 takes 380 s; the pauses make every cycle alike."""
    budgets = Budgets(thermal_ceiling=1.0, turnaround_s=180.0)
    steps = along(paced(RUNS, LOWER, budgets), LOWER, budgets)
    peak = cycling_peak(380.0, 180.0, 1800.0) * drive_strain(CR_1, LOWER)

    assert steps[-1].drive == pytest.approx(peak, rel=1e-4)
    assert [step.drive for step in steps] == sorted(step.drive for step in steps)


def test_a_pause_is_put_in_where_the_drive_would_get_too_warm_and_no_run_changes_place():
    budgets = Budgets(thermal_ceiling=0.5)
    done = paced(RUNS, LOWER, budgets)
    steps = along(done, LOWER, budgets)

    assert max(step.drive for step in steps) <= 0.5
    assert max(run.pause_s for run in done) > 0
    assert all(run.pause_s % 60 == 0 for run in done)
    assert [run.number for run in done] == list(range(1, 41))
    least = min(step.drive for step in steps[10:])
    assert least > 0.45, "pauses are no longer than they need to be"


def test_a_run_too_much_for_a_cold_drive_is_refused():
    with pytest.raises(PlanError, match="CR-1 warms a cold drive beyond 10%"):
        paced(RUNS, LOWER, Budgets(thermal_ceiling=0.1))


def test_shifts_hold_as_many_runs_as_fit():
    """45 cycles of 560 s fit into 7 h less the first pause: (7 h + 180 s) / 560 s = 45.3."""
    done = paced([*RUNS, *RUNS], LOWER, Budgets(shift_h=7.0))

    assert [run.block for run in done] == [1] * 45 + [2] * 35


def test_water_and_nitrogen_are_those_of_the_nominal_flows():
    """45 s of 15 L/min; 335 s of 170 slm."""
    use = use_of(CR_1, LOWER)

    assert use.time_s == 380.0
    assert use.water_l == pytest.approx(45 / 60 * 15)
    assert use.nitrogen_m3 == pytest.approx(335 / 60 * 0.170)


@pytest.mark.parametrize(
    ("budget", "of"),
    [("time_h", "total_s"), ("water_l", "water_l"), ("nitrogen_m3", "nitrogen_m3")],
)
def test_a_budget_below_what_a_plan_takes_by_itself_is_kept(budget: str, of: str):
    by_itself = getattr(forecast(compose("burn-in", LOWER, asked(), 5), LOWER, ()), of)
    limit = 0.93 * by_itself / (3600 if budget == "time_h" else 1)
    made = compose("burn-in", LOWER, asked(**{budget: limit}), 5)
    taken = getattr(forecast(made, LOWER, ()), of) / (3600 if budget == "time_h" else 1)

    assert taken <= limit * (1 + 1e-9)
    assert len(made.runs) == 24


@pytest.mark.parametrize(
    ("budgets", "message"),
    [
        ({"water_l": 20.0}, "the budget water_l leaves"),
        ({"time_h": 1.0}, "the budget time_h leaves 0"),
        ({"nitrogen_m3": 3.0}, "the budget nitrogen_m3 leaves"),
        ({"thermal_ceiling": 0.3, "time_h": 4.0}, "with the pauses that the drive needs"),
    ],
)
def test_a_budget_that_cannot_be_met_is_refused_in_words(budgets: dict, message: str):
    with pytest.raises(PlanError, match=message):
        compose("burn-in", LOWER, asked(**budgets), 5)


def test_the_odds_are_those_of_independent_runs():
    made = compose("burn-in", LOWER, asked(), 5)
    (odds,) = forecast(made, LOWER, (0.99,)).odds

    assert odds.without_restart == pytest.approx(0.99**24)
    assert odds.expected_runs == pytest.approx((1 - 0.99**24) / (0.01 * 0.99**24))
    with pytest.raises(OutOfRangeError):
        forecast(made, LOWER, (1.2,))


def test_the_sum_of_time_is_that_of_recipes_and_pauses():
    made = compose("burn-in", LOWER, asked(thermal_ceiling=0.4), 5)
    taken = forecast(made, LOWER, ())

    pauses = 23 * 180 + sum(run.pause_s for run in made.runs)
    assert taken.total_s == pytest.approx(made.process_time_s + pauses)
    assert taken.pauses_s == pytest.approx(pauses)
    assert math.isclose(taken.along[-1].end_s, taken.total_s)
