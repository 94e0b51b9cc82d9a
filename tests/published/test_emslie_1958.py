"""Film thinning against Emslie, Bonner and Peck, J. Appl. Phys. 29, 858 (1958).

The paper gives the law, not these numbers: the check is an independent route to them, the stiff
integration of the paper's equation, at the route's own accuracy.
"""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from spinproof.physics.film import film_thickness, thinning_dose

pytestmark = pytest.mark.source("Emslie, Bonner, Peck 1958", kind="independent route")

NU_WATER_25C = 8.926580e-7  # m²/s; IAPWS R12-08 and R6-95 at 298.15 K, 101 325 Pa
TIME = np.array([0.0, 8.0, 18.0, 23.0])
SPEED = np.pi / 30 * np.array([0.0, 2000.0, 2000.0, 300.0])


def test_spin_up_hold_and_slow_down_match_the_integrated_equation():
    """0 to 2000 rpm in 8 s, 10 s at 2000 rpm, to 300 rpm in 5 s, from 100 µm."""
    h = [100e-6]

    def rate(t, y):
        return -2 * np.interp(t, TIME, SPEED) ** 2 / (3 * NU_WATER_25C) * y**3

    for span in itertools.pairwise(TIME):  # a restart at each kink of the speed
        h.append(solve_ivp(rate, span, [h[-1]], method="LSODA", rtol=1e-12, atol=1e-18).y[0, -1])

    dose = thinning_dose(TIME, SPEED)
    assert dose == pytest.approx(641341.516, rel=1e-9)
    assert film_thickness(dose, 100e-6, NU_WATER_25C) == pytest.approx(h[-1], rel=1e-8)
    assert film_thickness(dose, 100e-6, NU_WATER_25C) == pytest.approx(1.02165869e-6, rel=1e-8)


def test_the_dose_of_a_constant_speed_is_its_square_times_the_time():
    assert thinning_dose([0.0, 10.0], 2000 * np.pi / 30) == pytest.approx(438649.08, abs=0.005)


def test_a_ramp_from_rest_is_worth_a_third_of_the_same_time_at_full_speed():
    ramp, hold = thinning_dose([0.0, 8.0], [0.0, 200.0]), thinning_dose([0.0, 8.0], [200.0, 200.0])

    assert ramp == pytest.approx(hold / 3, rel=1e-14)


@given(dose=st.floats(0, 1e9), more=st.floats(0, 1e9), h0=st.floats(1e-7, 1e-3))
def test_two_doses_in_turn_equal_their_sum(dose, more, h0):
    """The law forgets how the dose was delivered."""
    in_turn = film_thickness(more, film_thickness(dose, h0, NU_WATER_25C), NU_WATER_25C)

    assert in_turn == pytest.approx(film_thickness(dose + more, h0, NU_WATER_25C), rel=1e-9)
