"""Stress in a spinning wafer against the equilibrium it must satisfy."""

import numpy as np
import pytest

from spinproof.physics.wafer import spin_stress, wafer_mass

pytestmark = pytest.mark.source("Timoshenko, Goodier: rotating disks", kind="published")
RPM = np.pi / 30


def test_a_200_mm_wafer_is_stressed_below_one_megapascal_at_2800_rpm():
    (radial, hoop), (rim, rim_hoop) = spin_stress(2800 * RPM, 0.1, [0.0, 0.1]).T

    assert 1e-6 * radial == pytest.approx(0.82047, rel=1e-4)
    assert hoop == pytest.approx(radial)
    assert rim == pytest.approx(0.0, abs=1e-6)
    assert 1e-6 * rim_hoop == pytest.approx(0.36143, rel=1e-4)
    centre = [1e-6 * spin_stress(2800 * RPM, 0.1, poisson=nu)[0] for nu in (0.064, 0.36)]
    assert centre == pytest.approx([0.767, 0.841], abs=1e-3)


def test_the_stresses_are_in_equilibrium():
    """d(r σr)/dr - σθ + ρ ω² r² = 0 at each radius."""
    r = np.linspace(0, 0.1, 2001)
    radial, hoop = spin_stress(2800 * RPM, 0.1, r)
    left = np.gradient(r * radial, r, edge_order=2) - hoop + 2329.0 * (2800 * RPM) ** 2 * r**2

    assert np.abs(left).max() < 1e-5 * hoop.max()


def test_a_nominal_wafer_weighs_53_grams():
    assert 1e3 * wafer_mass(0.2, 725e-6) == pytest.approx(53.0466, rel=1e-5)
