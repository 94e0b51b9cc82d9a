"""The trade-off front: what is on it, and what is said beside it."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD
from tests.predict.test_forecast import weighed

from spinproof.model.prediction import Advice
from spinproof.model.recipe import Recipe
from spinproof.predict.front import Prices, advise, nondominated
from spinproof.predict.knowledge import prior_model


def recipes() -> list[Recipe]:
    """Give recipes over fast and final dry times, the first two alike but for the name."""
    made = []
    for fast in (60.0, 120.0):
        for final in (20.0, 60.0, 150.0, 300.0):
            dry = (
                CR_1.steps[2].model_copy(update={"duration_s": fast}),
                CR_1.steps[3].model_copy(update={"duration_s": final}),
            )
            steps = (*CR_1.steps[:2], *dry)
            made.append(CR_1.model_copy(update={"name": f"{fast:g} {final:g}", "steps": steps}))
    return made


def advice(model=None, least_odds: float = 0.0, seed: int = 1) -> Advice:
    made = recipes()
    places = np.random.default_rng(1).random((len(made), 8))
    return advise(
        made,
        places,
        model or prior_model(LOWER),
        PARTIAL_LOAD,
        Prices(),
        dry_g=0.1,
        least_odds=least_odds,
        seed=seed,
    )


@given(st.lists(st.tuples(*[st.integers(0, 4)] * 3), min_size=1, max_size=12))
def test_what_stays_is_beaten_by_nothing_and_beats_all_that_went(rows: list[tuple[int, ...]]):
    goals = np.array(rows, dtype=np.float64)
    kept = nondominated(goals)

    front = goals[kept]
    assert len({tuple(row) for row in front.tolist()}) == len(front)
    for row in goals:
        no_worse = (front <= row).all(axis=1)
        assert no_worse.any()
    for row in front:
        assert not ((goals <= row).all(axis=1) & (goals < row).any(axis=1)).any()


def test_the_front_rises_in_time_and_names_the_best():
    found = advice()

    times = [each.process_time_s for each in found.front]
    assert times == sorted(times)
    best = {goal: each for each in found.front for goal in each.best_at}
    assert set(best) == {"shortest", "driest", "cheapest"}
    assert best["shortest"].process_time_s == min(times)
    assert best["driest"].dry.probability == max(c.dry.probability for c in found.front)
    assert best["cheapest"].cost.median == min(c.cost.median for c in found.front)


def test_where_the_prior_rules_it_says_calibrate_first():
    assert advice().calibrate_first[0].startswith("water held up")
    assert not any("held up" in line for line in advice(weighed()).calibrate_first)


def test_what_is_hardly_ever_dry_is_not_shown():
    found = advice(least_odds=0.8)

    assert min(each.dry.probability for each in found.front) > 0.7


def test_odds_that_nothing_reaches_are_said():
    found = advice(least_odds=0.9999)

    assert found.cautions[0] == "no recipe is dry with odds of 0.9999 or more"
    assert found.front


def test_the_same_seed_gives_the_same_front():
    assert advice() == advice()


def test_assumed_prices_are_said_to_be_assumed():
    assert any("assumed, set your own" in caution for caution in advice().cautions)
