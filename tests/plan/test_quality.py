"""How evenly plans cover their region."""

import numpy as np
import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD

from spinproof.model.recipe import TimerBasis
from spinproof.plan.planning import make_plan
from spinproof.plan.quality import centred_discrepancy, plan_quality
from spinproof.plan.region import Region, mean_squared_speed

SEEDS = range(5)


def quality(seed: int, corners: int, runs: int):
    made = make_plan("burn-in", LOWER, (), 0, corners, runs, seed, PARTIAL_LOAD)
    return plan_quality(made, LOWER)


def test_a_plan_without_corners_is_as_even_as_plain_sobol_points():
    measured = [quality(seed, 0, 48) for seed in SEEDS]

    ratio = np.median([q.discrepancy / q.sobol_discrepancy for q in measured])
    assert ratio == pytest.approx(1.0, abs=0.1)


def test_corners_cost_a_little_evenness_and_no_separation():
    measured = [quality(seed, 8, 48) for seed in SEEDS]

    assert max(q.discrepancy / q.sobol_discrepancy for q in measured) < 1.35
    assert min(q.smallest_distance for q in measured) > 0.3
    assert {q.points for q in measured} == {48}


def test_a_plan_is_more_even_than_random_recipes():
    region, rng = Region(LOWER), np.random.default_rng(11)
    unit = rng.random((4000, 8))
    feasible = region.from_unit(unit)[region.holds(region.from_unit(unit))]

    drawn = [centred_discrepancy(region.to_unit(rng.permutation(feasible)[:48])) for _ in range(20)]
    planned = [quality(seed, 0, 48).discrepancy for seed in SEEDS]
    assert np.median(planned) < 0.85 * np.median(drawn)


def test_unit_coordinates_come_back():
    region = Region(LOWER)
    points = region.from_unit(np.random.default_rng(5).random((50, 8)))

    assert np.allclose(region.from_unit(region.to_unit(points)), points, atol=1e-9)


def test_the_mean_squared_speed_takes_ramps_by_the_timer_basis():
    """From rest to 100 rpm at 10 rpm/s: the ramp's mean square is 100**2 / 3."""
    ten = {"speed_rpm": 100.0, "ramp_rpm_per_s": 10.0, "duration_s": 30.0}
    inside = CR_1.model_copy(update={"steps": (CR_1.steps[1].model_copy(update=ten),)})
    on_top = inside.model_copy(
        update={
            "steps": (inside.steps[0].model_copy(update={"timer_basis": TimerBasis.FROM_AT_SPEED}),)
        }
    )

    assert mean_squared_speed(inside) == pytest.approx((10 / 3 + 20) / 30 * 1e4)
    assert mean_squared_speed(on_top) == pytest.approx((10 / 3 + 30) / 40 * 1e4)
