"""Vibration: defects of a bearing in an envelope, crest factor, and what is refused."""

import numpy as np
import pytest
from scipy.stats import kurtosis as reference_kurtosis

from spinproof.model.errors import OutOfRangeError
from spinproof.signals.bearings import defect_orders, fatigue_life
from spinproof.signals.envelope import defect_line, envelope_spectrum
from spinproof.signals.orders import order_vectors, shaft_angle, steady_vectors
from spinproof.signals.resonance import fit_resonance, unbalance_response
from spinproof.signals.severity import (
    clipped_share,
    crest_factor,
    kurtosis,
    over_windows,
    velocity_severity,
)

RATE, SHAFT = 12_000, 29.17
ORDERS = defect_orders(9, 7.9, 38.5)
DEFECTS = {
    "outer race": SHAFT * ORDERS.outer,
    "inner race": SHAFT * ORDERS.inner,
    "rolling element": SHAFT * ORDERS.element,
}


def ringing(hits_per_s: float, size: float, seed: int = 2) -> np.ndarray:
    """Give hits that ring a resonance at 3.1 kHz, in noise, with a shaft that shakes."""
    rng, t = np.random.default_rng(seed), np.arange(4 * RATE) / RATE
    x = rng.normal(0, 1.0, t.size) + 2 * np.cos(2 * np.pi * SHAFT * t)
    since = np.mod(t, 1 / hits_per_s)
    return x + size * np.exp(-since * 900) * np.sin(2 * np.pi * 3100 * since)


@pytest.mark.parametrize("name", sorted(DEFECTS))
def test_a_defect_is_named_by_its_line(name):
    spectrum = envelope_spectrum(ringing(1.006 * DEFECTS[name], 6.0), RATE, (2200, 4200))
    found = defect_line(*spectrum, SHAFT, DEFECTS)

    assert found.name == name
    assert found.frequency == pytest.approx(1.006 * DEFECTS[name], abs=0.5)


@pytest.mark.parametrize("seed", range(8))
def test_a_healthy_bearing_shows_no_clear_line(seed):
    spectrum = envelope_spectrum(ringing(97.0, 0.0, seed), RATE, (2200, 4200))

    assert defect_line(*spectrum, SHAFT, DEFECTS).name is None


def test_hits_at_another_rate_are_no_defect_of_this_bearing():
    spectrum = envelope_spectrum(ringing(77.0, 6.0), RATE, (2200, 4200))
    found = defect_line(*spectrum, SHAFT, DEFECTS)

    assert found.name is None
    assert found.frequency == pytest.approx(77.0, abs=0.5)


def test_hits_once_a_turn_are_orders_of_the_shaft():
    spectrum = envelope_spectrum(ringing(SHAFT, 6.0), RATE, (2200, 4200))

    assert defect_line(*spectrum, SHAFT, DEFECTS).name is None


def test_peaks_and_moments():
    wave = np.sin(2 * np.pi * np.arange(1000) / 100)
    noise = np.random.default_rng(1).normal(size=20_000)

    assert crest_factor(wave) == pytest.approx(np.sqrt(2), rel=1e-3)
    assert kurtosis(wave) == pytest.approx(1.5, abs=1e-9)
    assert kurtosis(noise) == pytest.approx(reference_kurtosis(noise, fisher=False))
    assert clipped_share([-32768, 0, 5, 32767], -32768, 32767) == 0.5


def test_a_window_with_a_bad_sample_has_no_value():
    x = np.cos(2 * np.pi * 50 * np.arange(12_288) / 4096)
    x[5000] = np.nan
    found = velocity_severity(x, 4096)

    assert np.isnan(found).tolist() == [False, True, False]
    assert over_windows(found) == pytest.approx(found[0])
    assert np.isnan(over_windows([np.nan]))


@pytest.mark.parametrize(
    ("law", "inputs"),
    [
        (defect_orders, (9, 2.0, 1.0)),
        (fatigue_life, (0.0, 1.0, 1.0)),
        (velocity_severity, (np.zeros(2000), 1500)),
        (velocity_severity, (np.zeros(100), 4096)),
        (crest_factor, (np.ones(5),)),
        (kurtosis, ([1.0, np.nan],)),
        (clipped_share, ([], 0, 1)),
        (shaft_angle, ([0.0], [0.0, 1.0, 2.0], 1)),
        (shaft_angle, ([0.0], [0.0, 1.0, 1.0, 2.0], 1)),
        (order_vectors, ([0.0, 1.0], [0.0, 1.0], [0.0, 0.2, 0.4, 0.6], 6, 1)),
        (steady_vectors, (np.zeros(9), np.linspace(0, 3, 9))),
        (unbalance_response, ([1.0], 0.0, 0.1)),
        (fit_resonance, ([1.0, 2.0], [1.0, 1.0])),
        (envelope_spectrum, (np.zeros(9000), 8000, (3000, 5000))),
        (envelope_spectrum, (np.zeros(90), 8000, (300, 500))),
        (defect_line, ([0.0, 1.0], [1.0, 1.0], 29.0, {})),
    ],
)
def test_a_signal_that_cannot_answer_is_refused(law, inputs):
    with pytest.raises(OutOfRangeError):
        law(*inputs)


def test_a_resonance_outside_the_sweep_cannot_be_told():
    speed = np.linspace(10, 60, 30)

    with pytest.raises(OutOfRangeError, match="outside the speeds"):
        fit_resonance(speed, unbalance_response(speed, 105.0, 0.05))


def test_vectors_that_turn_the_wrong_way_show_no_damping():
    speed = np.linspace(60, 150, 60)

    with pytest.raises(OutOfRangeError, match="show no damping"):
        fit_resonance(speed, unbalance_response(speed, 105.0, 0.05).conj())
