"""Orders, 1x vectors and a resonance against signals whose answer is known in closed form.

No open record of a run-up with a tach was found; these are analytic. The ordinary spectrum of the
same ramp reads 0.9 instead of 2: the reason for order tracking.
"""

import numpy as np
import pytest
from scipy.fft import rfft

from spinproof.signals.orders import order_vectors, shaft_angle, steady_vectors
from spinproof.signals.resonance import fit_resonance, unbalance_response

pytestmark = pytest.mark.source("Closed forms of rotating vectors", kind="independent route")

RPM = np.pi / 30
RATE = 4096


def lag(vectors: np.ndarray) -> np.ndarray:
    return -np.degrees(np.angle(vectors))


@pytest.fixture(scope="module")
def run_up():
    """From 10 to 40 revolutions a second in 10 s, four orders and a line at 100 Hz."""
    t = np.arange(10 * RATE + 1) / RATE
    theta = 2 * np.pi * (10 * t + 1.5 * t**2)
    orders = ((1, 2.0, 40), (2, 0.6, -75), (2.3, 0.4, 10), (4, 1.0, 150))
    x = sum(a * np.cos(o * theta - np.radians(p)) for o, a, p in orders)
    edges = (-10 + np.sqrt(100 + 6 * np.arange(250))) / 3
    return t, x + 0.5 * np.cos(2 * np.pi * 100 * t), edges


def test_the_orders_of_a_run_up(run_up):
    found = order_vectors(*run_up, 1, (1, 2, 2.3, 4), revolutions=100)

    assert np.abs(found) == pytest.approx([2.00015, 0.60105, 0.39701, 1.00028], abs=1e-5)
    assert lag(found) == pytest.approx([39.99, -74.98, 10.13, 150.03], abs=0.01)


def test_the_ordinary_spectrum_smears_them(run_up):
    _, x, _ = run_up
    last = x[-int(2.5 * RATE) :]
    lines = 2 * np.abs(rfft(last * np.hanning(last.size))) / np.hanning(last.size).sum()

    assert lines[int(30 * 2.5) : int(41 * 2.5)].max() < 1.0


def test_the_angle_between_edges_is_exact_to_a_tenth_of_a_degree(run_up):
    t, _, edges = run_up
    angle = shaft_angle(t, edges, 1)
    inside = (t > edges[3]) & (t < edges[-4])

    assert angle[inside] == pytest.approx(2 * np.pi * (10 * t + 1.5 * t**2)[inside], abs=1.7e-3)
    assert np.isnan(angle[t > edges[-1]]).all()


def test_a_steady_vector_is_exact_for_any_length():
    t = np.arange(7777) / 5000
    theta = 2 * np.pi * 1750 / 60 * t
    x = 3 * np.cos(theta - np.radians(212)) + 0.7 * np.cos(2 * theta - np.radians(30)) + 0.2
    found = steady_vectors(x, theta)

    assert np.abs(found) == pytest.approx([3.0, 0.7], abs=1e-9)
    assert lag(found) % 360 == pytest.approx([212, 30], abs=1e-7)


@pytest.fixture(scope="module")
def sweep():
    speed = np.arange(300, 2401, 25) * RPM
    strength = 35e-6 * np.exp(-1j * np.radians(40))
    rest = 3e-6 * np.exp(1j * np.radians(100))
    return speed, strength * unbalance_response(speed, 1010 * RPM, 0.045) + rest


def test_a_resonance_without_noise_is_found_exactly(sweep):
    found = fit_resonance(*sweep)

    assert found.speed / RPM == pytest.approx(1010, abs=1e-6)
    assert found.damping == pytest.approx(0.045, abs=1e-9)
    assert abs(found.strength) == pytest.approx(35e-6, rel=1e-6)
    assert abs(found.rest) == pytest.approx(3e-6, rel=1e-5)
    assert found.amplification == pytest.approx(1 / (2 * 0.045 * np.sqrt(1 - 0.045**2)))


def test_a_noisy_resonance_is_told_with_its_uncertainty(sweep):
    speed, vectors = sweep
    rng = np.random.default_rng(20940)
    real, imaginary = rng.normal(0, 2e-7, speed.size), rng.normal(0, 2e-7, speed.size)
    found = fit_resonance(speed, vectors + real + 1j * imaginary)

    assert found.speed / RPM == pytest.approx(1009.983, abs=1e-3)
    assert found.speed_uncertainty / RPM == pytest.approx(0.020, abs=1e-3)
    assert found.damping == pytest.approx(0.044971, abs=1e-6)
    assert found.damping_uncertainty == pytest.approx(2.0e-5, abs=1e-6)
    assert found.scatter == pytest.approx(2e-7, rel=0.15)
    assert speed[np.abs(vectors).argmax()] / RPM == pytest.approx(1025)  # the peak is 15 rpm off


def test_the_intervals_of_a_noisy_resonance_hold():
    """200 noisy sweeps, seeded: nine of ten and more lie inside two standard uncertainties."""
    speed = np.arange(300, 2401, 50) * RPM
    clean = 35e-6 * unbalance_response(speed, 1010 * RPM, 0.06)
    rng, held = np.random.default_rng(8), 0
    for _ in range(200):
        noise = rng.normal(0, 5e-7, (2, speed.size))
        found = fit_resonance(speed, clean + noise[0] + 1j * noise[1])
        held += abs(found.speed - 1010 * RPM) <= 2 * found.speed_uncertainty

    assert 180 <= held <= 200


def test_jeffcotts_lag():
    assert lag(unbalance_response([0.9, 1.0], 1.0, 0.05)) == pytest.approx([25.3462, 90], abs=1e-4)
