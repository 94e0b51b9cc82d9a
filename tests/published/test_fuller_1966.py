"""Diffusivity of water vapour in nitrogen."""

import numpy as np
import pytest

from spinproof.physics.gas_exchange import vapour_diffusivity

pytestmark = pytest.mark.source("Fuller, Schettler, Giddings 1966; Massman 1998", kind="published")


@pytest.mark.parametrize(
    ("celsius", "expected"), [(20, 2.50158), (25, 2.57672), (40, 2.80785), (60, 3.12915)]
)
def test_diffusivity_is_the_correlations(celsius, expected):
    assert 1e5 * vapour_diffusivity(273.15 + celsius) == pytest.approx(expected, rel=1e-5)


@pytest.mark.source("Massman 1998, constants from memory", kind="from memory")
def test_diffusivity_is_near_another_correlation():
    """0.2178 (T/273.15)^1.81 cm²/s in air; the standard uncertainty is 5 %."""
    kelvin = np.linspace(283, 333, 11)

    assert vapour_diffusivity(kelvin) == pytest.approx(
        0.2178e-4 * (kelvin / 273.15) ** 1.81, rel=0.07
    )
