"""A bowl with a slow pocket against the exponential of its matrix; films at rest and fed."""

import numpy as np
import pytest
from scipy.linalg import expm

from spinproof.physics.film import draining_film, fed_film, film_thickness, off_axis_film
from spinproof.physics.rinse import pocket_conductivity, rinse_time
from spinproof.physics.utilities import run_utilities

pytestmark = pytest.mark.source(
    "mass balance by matrix exponential; Jeffreys 1930; Nusselt 1916", kind="independent route"
)
RPM = np.pi / 30


def test_bowl_and_pocket_follow_their_matrix():
    matrix = np.array([[-0.102, 0.002], [0.04, -0.04]])
    by_matrix = expm(120.0 * matrix) @ [100.0, 100.0]
    bowl, pocket = pocket_conductivity(100.0, 0.0, 1e-4, 1e-3, 2e-6, 5e-5, 120.0)

    assert (bowl, pocket) == pytest.approx(tuple(by_matrix), rel=1e-9)
    assert (bowl, pocket) == pytest.approx((0.04885093, 1.532545), rel=1e-6)


@pytest.mark.parametrize(
    ("mohm_cm", "seconds"), [(10, 77.06), (15, 90.55), (17, 101.70), (18, 120.94)]
)
def test_a_rinse_takes_the_time_of_its_balance(mohm_cm, seconds):
    assert rinse_time(1e-2, 1e-4 / 18.183, 1e-4 / mohm_cm, 1e-4, 1e-3) == pytest.approx(
        seconds, abs=0.01
    )
    assert rinse_time(1e-2, 1e-4 / 18.183, 5e-6, 1e-4, 1e-3) == np.inf


def test_films_before_the_spin_have_their_thickness():
    assert 1e6 * draining_film(10.0, 0.2, 8.92658e-7) == pytest.approx(42.67, abs=0.01)
    thin, thick = (1e6 * fed_film(1 / 6e4 / 25, n * RPM, 0.1, 8.92658e-7) for n in (300, 50))
    assert (thin, thick) == pytest.approx((30.65, 101.2), rel=1e-3)


def test_a_wafer_off_the_axis_holds_less_than_one_on_it():
    """600 rpm for 2 s from 50 µm, inner edge at 50 mm; finite volumes give 7.158 and 8.454."""
    dose = 2 * (600 * RPM) ** 2
    film = 1e6 * off_axis_film(dose, 50e-6, 8.9266e-7, [0.1, 0.2], 0.05)

    assert film == pytest.approx([7.158, 8.454], rel=1.5e-3)
    assert (film <= 1e6 * film_thickness(dose, 50e-6, 8.9266e-7)).all()


def test_a_run_uses_what_its_balances_say():
    """45 s of 10 L/min; 335 s of nitrogen at 120 L/min (0 °C); rotor of 0.15 kg m² to 2000 rpm."""
    time = [0.0, 45.0, 45.0, 53.0, 380.0]
    used = run_utilities(
        time, np.array([10.0, 10.0, 0, 0, 0]) / 6e4, np.array([0, 0, 1.0, 1.0, 1.0]) * 2.499638e-3,
        40.0, np.array([0.0, 0.0, 0.0, 2000.0, 2000.0]) * RPM, 0.0, 0.15,
    )  # fmt: skip

    assert 1e3 * used.water == pytest.approx(7.5)
    assert used.nitrogen == pytest.approx(0.8374, abs=1e-4)
    assert used.gas_heat / 335 == pytest.approx(104.2, abs=0.1)
    assert used.rotor_work == pytest.approx(3289.9, abs=0.1)
