"""Coast-down in closed form against quadrature of the equation of motion.

The equation J ω' = -(Tc + b ω + k ω²) is that of SAE J1263 road-load coast-down (from memory);
scipy's quadrature of J / (Tc + b ω + k ω²) over ω is the independent route.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from spinproof.physics.rotor import coast_down_time

pytestmark = pytest.mark.source(
    "equation of motion by scipy quadrature; SAE J1263 from memory", kind="independent route"
)

RPM = np.pi / 30


def by_quadrature(inertia, tc, b, k, w0, w1):
    return quad(lambda w: inertia / (tc + b * w + k * w * w), w1, w0, epsabs=0, epsrel=1e-12)[0]


@pytest.mark.parametrize(
    ("tc", "b", "k", "seconds"),
    [
        (0.12, 0.002, 1.5e-5, 113.672197),
        (0.12, 0.0, 1.5e-5, 177.030779),
        (0.02, 0.006, 1.5e-5, 94.676232),  # over-damped: artanh
        (0.12, 0.002, 0.0, 151.688443),
        (0.12, 0.0, 0.0, 369.573469),
        (0.0, 0.002, 0.0, 361.175578),
        (0.0, 0.0, 1.5e-5, 1797.389832),
        (0.18, 0.002, 1.5e-5, 93.996343),
    ],
)
def test_every_kind_of_drag_agrees_with_quadrature(tc, b, k, seconds):
    """0.22 kg m² from 2000 to 75 rpm."""
    closed = coast_down_time(0.22, tc, b, k, 2000 * RPM, 75 * RPM)

    assert closed == pytest.approx(seconds, abs=1e-5)
    assert closed == pytest.approx(by_quadrature(0.22, tc, b, k, 2000 * RPM, 75 * RPM), rel=1e-10)


@pytest.mark.parametrize(("rpm", "seconds"), [(1100, 54.7842), (1750, 71.5547), (2000, 75.95)])
def test_the_demo_rotor_coasts_to_40_rpm_in_its_reference_time(rpm, seconds):
    """0.22 kg m², 0.35 N m and 2.5e-5 N m s² (invented numbers, checked by quadrature)."""
    closed = coast_down_time(0.22, 0.35, 0.0, 2.5e-5, rpm * RPM, 40 * RPM)

    assert closed == pytest.approx(seconds, abs=5e-3)
    assert closed == pytest.approx(
        by_quadrature(0.22, 0.35, 0.0, 2.5e-5, rpm * RPM, 40 * RPM), rel=1e-10
    )


@given(
    tc=st.floats(0.01, 2),
    b=st.floats(0, 0.05),
    k=st.floats(0, 1e-3),
    low=st.floats(0, 100),
    more=st.floats(0.01, 200),
)
def test_any_drag_agrees_with_quadrature(tc, b, k, low, more):
    closed = coast_down_time(0.3, tc, b, k, low + more, low)

    assert closed == pytest.approx(by_quadrature(0.3, tc, b, k, low + more, low), rel=1e-9)
