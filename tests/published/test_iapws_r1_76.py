"""Surface tension of water against the table of the release."""

import pytest

from spinproof.physics.water_thermal import surface_tension

pytestmark = pytest.mark.source("IAPWS R1-76(2014)", kind="published")


@pytest.mark.parametrize(
    ("celsius", "mn_m"),
    [
        (10, 74.221),
        (20, 72.736),
        (25, 71.972),
        (30, 71.194),
        (40, 69.596),
        (60, 66.238),
        (100, 58.912),
    ],
)
def test_surface_tension_is_the_releases(celsius, mn_m):
    assert 1e3 * surface_tension(273.15 + celsius) == pytest.approx(mn_m, abs=0.001)
