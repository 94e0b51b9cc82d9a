"""Hold-up and conductance: what weighings and the exhaust tell, and what they leave open."""

import numpy as np
import pytest
from tests.predict import heads
from tests.predict.trials import STOPS

from spinproof.predict.drying_fit import Surroundings, hold_up_by_exhaust, hold_up_by_weighing
from spinproof.virtualhead.process import HoldUp


def weighings(stops: tuple[int, ...], seed: int = 1):
    time, left = heads.dryings(np.full(len(stops), heads.HOLD_UP_G), max(*stops, 1))
    return heads.weighings(time, left, stops, np.random.default_rng(seed))


def test_the_trials_dry_as_the_virtual_head_does():
    """Small steps of many against the virtual head's own steps of one."""
    time, left = heads.dryings(np.array([HoldUp.FIRST_G]), 60)
    one = HoldUp()
    one.wet()
    for _ in range(600):
        one.advance(0.1, heads.DRY_SLM, heads.DRY_C, heads.DRY_RPM)

    assert time[-1] == 60
    assert left[-1, 0] == pytest.approx(one.mass_g, rel=0.02)


def test_weighings_right_after_spin_off_tell_the_hold_up_alone():
    found = hold_up_by_weighing(weighings((0, 0, 0, 3, 3)), heads.GIVEN)

    assert found.fit.parameters == ("hold_up_g",)
    assert found.values["hold_up_g"] == pytest.approx(heads.HOLD_UP_G, abs=0.1)
    assert found.cannot_say[0].subject == "conductance"


def test_weighings_of_what_is_dry_tell_nothing():
    found = hold_up_by_weighing(weighings((200, 210, 220, 230)), heads.GIVEN)

    assert (found.fit, found.values) == (None, {})
    assert found.cannot_say[0].subject == "hold-up and conductance"


@pytest.mark.parametrize("count", [0, 1, 3])
def test_too_few_weighings_say_nothing(count: int):
    found = hold_up_by_weighing(weighings((0, 30, 60))[:count], heads.GIVEN)

    assert f"{count} weighings, 4 are needed" in found.cannot_say[0].why


def test_what_is_uncertain_of_the_bowl_widens_the_result():
    own = weighings(STOPS)
    unsure = Surroundings(
        heads.GIVEN.heat_capacity, heads.GIVEN.windage, heads.GIVEN.temperature, (0.4, 0.5)
    )

    sure, wide = (hold_up_by_weighing(own, given) for given in (heads.GIVEN, unsure))

    assert wide.fit.covariance[1][1] > 1.2 * sure.fit.covariance[1][1]


def test_an_exhaust_that_never_leaves_saturation_separates_nothing():
    time, left = heads.dryings(np.full(3, heads.HOLD_UP_G), 25)
    rng = np.random.default_rng(2)
    own = [heads.exhaust(time, left[:, i], rng, i) for i in range(3)]

    found = hold_up_by_exhaust(own, heads.GIVEN)

    assert found.fit is None
    assert "0 usable exhaust records" in found.cannot_say[0].why
    assert "never left its plateau" in found.cannot_say[0].why
