"""Lost pulses on a coast-down of closed form, and the ideal gas behind a pressure-decay test.

With 2 % of its pulses lost at random the count must come back whole: the closed form numbers them.
The first and the last three pulses stay: they have no neighbours on one side. The leak of 1.5 kPa a
minute out of 0.6 L stands in any text on leak testing as V Δp/Δt; 1 Pa·m³/s is 592.154 cm³/min of
gas at 0 °C and 101.325 kPa by the definition of that unit.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from spinproof.signals.coast_down import decelerations
from spinproof.signals.pressure_decay import (
    REFERENCE_K,
    SCCM_PER_PA_M3_S,
    faked_by_temperature,
    leak_of,
)
from spinproof.signals.tach import Rotation
from spinproof.signals.tach_repair import repair_tach

pytestmark = pytest.mark.source(
    "closed form of a three-term coast-down; EN 1779 pressure change (from memory), ideal gas",
    kind="independent route",
)

A, B, C = 0.12 / 0.22, 0.002 / 0.22, 1.5e-5 / 0.22
FIRST = 2000 * np.pi / 30
REVOLUTIONS = 1326


def turned(time: float) -> float:
    root = np.sqrt(4 * A * C - B * B)
    start = np.arctan((2 * C * FIRST + B) / root)
    return np.log(np.cos(start - root * time / 2) / np.cos(start)) / C - B * time / (2 * C)


def moments() -> np.ndarray:
    return np.array(
        [
            brentq(lambda t, k=k: turned(t) - 2 * np.pi * k, 0, 114, xtol=1e-12)
            for k in range(REVOLUTIONS)
        ]
    )


@pytest.mark.parametrize("seed", range(20))
def test_two_percent_of_lost_pulses_come_back_whole(seed):
    exact = moments() + np.random.default_rng(seed).normal(0, 50e-6, REVOLUTIONS)
    lost = np.random.default_rng(100 + seed).random(REVOLUTIONS) < 0.02
    lost[[0, 1, 2, -3, -2, -1]] = False
    kept = np.flatnonzero(~lost)
    seen = exact[kept]
    sound = np.ones(seen.size - 1, dtype=bool)
    found = repair_tach(Rotation(seen, np.arange(seen.size), sound, 1, 50e-6))

    assert (found.rotation.pulses == kept).all()
    assert found.missing == np.count_nonzero(lost) > 10
    fit = decelerations(found.rotation.edge_s, 2 * np.pi * found.rotation.pulses)
    assert (np.abs(fit.estimate - [A, B, C]) < 4 * fit.spread).all()


def test_the_path_of_the_coast_ends_where_its_closed_form_says():
    """113.672197 s and 1326.76 revolutions from 2000 to 75 rpm."""
    assert turned(113.672197) / (2 * np.pi) == pytest.approx(1326.76, abs=0.01)


def test_a_leak_at_constant_temperature_is_volume_times_fall_over_time():
    found = leak_of(0.6e-3, (170e3, 168.5e3), (REFERENCE_K, REFERENCE_K), 60.0)

    assert found.rate == pytest.approx(0.015, rel=1e-12)
    assert found.rate * SCCM_PER_PA_M3_S == pytest.approx(8.8823, abs=1e-4)
    assert abs(SCCM_PER_PA_M3_S - 592.15396) < 1e-4


def test_half_a_kelvin_changes_the_answer_by_a_fifth():
    found = leak_of(0.6e-3, (170e3, 168.5e3), (296.15, 295.65), 60.0)

    assert found.rate == pytest.approx(0.0120273, abs=5e-8)
    assert faked_by_temperature(170e3, 296.15, 0.5) == pytest.approx(287.0, abs=0.05)


@pytest.mark.parametrize("correlation", [0.0, 0.9, 1.0])
def test_the_uncertainty_of_a_leak_agrees_with_a_monte_carlo(correlation):
    rng = np.random.default_rng(5)
    joint = [[1, correlation], [correlation, 1]]
    count = 200_000
    dp = 20 * rng.multivariate_normal([0, 0], joint, count, method="eigh")
    dt = 0.1 * rng.multivariate_normal([0, 0], joint, count, method="eigh")
    p, t = np.array([170e3, 168.5e3]) + dp, np.array([296.15, 295.65]) + dt
    drawn = 0.6e-3 * REFERENCE_K / 60 * (p[:, 0] / t[:, 0] - p[:, 1] / t[:, 1])
    found = leak_of(
        0.6e-3,
        (170e3, 168.5e3),
        (296.15, 295.65),
        60.0,
        pressure_uncertainty=20,
        temperature_uncertainty=0.1,
        correlation=correlation,
    )

    assert found.uncertainty == pytest.approx(drawn.std(), rel=0.01)
