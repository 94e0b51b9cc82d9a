"""How well plans cover their region, and how they stand beside ordinary generators."""

import io

import numpy as np
import pytest
from scipy.spatial.distance import pdist
from scipy.stats import qmc, spearmanr
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD

from spinproof.model.plan import Asked, Plan
from spinproof.model.recipe import TimerBasis
from spinproof.plan.coverage import coverage, level_table, unit_table
from spinproof.plan.planning import compose
from spinproof.plan.quality import LATIN, SOBOL, compare, plan_quality
from spinproof.plan.region import Region, mean_squared_speed

ASKED = Asked(
    customer=(CR_1,),
    customer_load=PARTIAL_LOAD,
    customer_runs=6,
    corner_runs=8,
    ladder_runs=5,
    total_runs=54,
)
PLAN = compose("burn-in", LOWER, ASKED, 1041)
OWN, BY_SOBOL, BY_LATIN = compare(PLAN, LOWER)


def unit_rows(plan: Plan = PLAN) -> np.ndarray:
    return np.loadtxt(io.StringIO(unit_table(plan, LOWER)), delimiter=",", skiprows=1)


def test_anybody_gets_the_same_measures_from_the_exported_table():
    unit, own = unit_rows(), OWN.quality

    assert own.points == len(unit) == 45
    assert own.discrepancy == pytest.approx(qmc.discrepancy(unit, method="CD"), abs=1e-10)
    mindist = qmc.geometric_discrepancy(unit, method="mindist")
    assert own.smallest_distance == pytest.approx(mindist, abs=1e-10)
    ends = np.vstack([np.zeros(8), np.sort(unit, axis=0), np.ones(8)])
    assert own.projection_gap == pytest.approx(np.diff(ends, axis=0).max(), abs=1e-10)


def test_the_order_correlation_is_that_of_spearman_over_the_randomised_runs():
    lines = [line.split(",") for line in level_table(PLAN, LOWER).splitlines()[1:]]
    rows = [
        line[3:13] for line in lines if line[1] in {"corner of the envelope", "inside the envelope"}
    ]
    values = np.array(rows, dtype=float)
    rho = [abs(spearmanr(np.arange(len(values)), column).statistic) for column in values.T]

    assert len(values) == 43
    assert OWN.quality.order_correlation == pytest.approx(max(rho), abs=1e-10)
    assert max(rho) <= 0.05


def test_a_plan_is_better_than_ordinary_generators_in_what_it_aims_at():
    assert (BY_SOBOL.name, BY_LATIN.name) == (SOBOL, LATIN)
    own = OWN.quality
    for other in (BY_SOBOL.quality, BY_LATIN.quality):
        assert other.points == own.points
        assert own.chosen_distance > 1.2 * other.smallest_distance
        assert own.mean_nearest > other.mean_nearest
        assert own.energy < 0.8 * other.energy
        assert own.order_correlation < other.order_correlation
    assert str(own.pairs) == "404 of 404"
    assert own.missing_pairs == ()
    assert own.triples.seen > 0.85 * own.triples.feasible


def test_the_order_of_runs_changes_no_measure_but_that_of_the_order():
    turned = PLAN.model_copy(update={"runs": PLAN.runs[::-1]})
    before, after = vars(OWN.quality), vars(plan_quality(turned, LOWER))

    for name in set(before) - {"order_correlation"}:
        same = pytest.approx(before[name]) if isinstance(before[name], float) else before[name]
        assert after[name] == same, name


def test_pairs_that_cannot_be_are_named_and_not_counted():
    """With 1000 rpm from the rinse to the fast dry, a fast rinse forbids a slow dry."""
    head = LOWER.model_copy(
        update={"envelope": LOWER.envelope.model_copy(update={"step_up_rpm": 900.0})}
    )
    asked = ASKED.model_copy(update={"corner_runs": 0, "customer_runs": 0, "customer": ()})
    found = plan_quality(compose("burn-in", head, asked, 3), head)

    assert "rinse_rpm high with fast_dry_rpm low" not in found.missing_pairs
    assert found.pairs.feasible + len(found.infeasible_pairs) == 404
    assert found.pairs.seen + len(found.missing_pairs) == found.pairs.feasible


def test_coverage_shows_every_run_and_how_often_levels_meet():
    view = coverage(PLAN, LOWER)

    assert [point.number for point in view.points] == list(range(1, 55))
    assert len(view.pairs) == 45
    assert all(sum(map(sum, pair.counts)) == 54 for pair in view.pairs)
    assert min(p.nearest for p in view.points) == pytest.approx(pdist(unit_rows()).min())
    assert view.fill_distances[-1] == pytest.approx(OWN.quality.fill_radius)
    assert list(view.fill_distances) == sorted(view.fill_distances)


def test_unit_coordinates_come_back():
    region = Region(LOWER)
    points = region.from_unit(np.random.default_rng(5).random((50, 8)))

    assert np.allclose(region.from_unit(region.to_unit(points)), points, atol=1e-9)


def test_a_recipe_of_other_steps_is_no_point_of_the_box():
    region = Region(LOWER)

    assert region.point_of(CR_1) is not None
    assert region.point_of(CR_1.model_copy(update={"steps": CR_1.steps[:2]})) is None


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
