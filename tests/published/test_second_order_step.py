"""Terms of a step response against the closed forms of first- and second-order systems.

Overshoot exp(-πζ/√(1-ζ²)), rise ln 9 and settling ln 50 of a first-order lag stand in every text
on control; the rise and settling times of the second-order systems are quoted
from the same laws, found by a fine search on the analytic response.
"""

import numpy as np
import pytest

from spinproof.signals.state_levels import step_of
from spinproof.signals.steps import overshoot, settling_moment, transition_duration

pytestmark = pytest.mark.source(
    "IEEE Std 181-2011 terms on closed-form step responses", kind="independent route"
)

TIME = np.linspace(0, 40, 400_001)


def second_order(damping: float) -> np.ndarray:
    damped = np.sqrt(1 - damping**2)
    phase = np.arccos(damping)
    return 1 - np.exp(-damping * TIME) / damped * np.sin(damped * TIME + phase)


@pytest.mark.parametrize(
    ("damping", "excess_percent", "rise", "settling"),
    [
        (0.3, 37.23261, 1.3213, 11.2301),
        (0.5, 16.30335, 1.6376, 8.0764),
        (0.7, 4.59879, 2.1262, 5.9788),
    ],
)
def test_a_second_order_step(damping, excess_percent, rise, settling):
    response = second_order(damping)
    law = 100 * np.exp(-np.pi * damping / np.sqrt(1 - damping**2))

    assert 100 * overshoot(response, 0, 1) == pytest.approx(law, abs=1e-5)
    assert law == pytest.approx(excess_percent, abs=1e-5)
    assert transition_duration(TIME, response, 0, 1) == pytest.approx(rise, abs=1e-3)
    assert settling_moment(TIME, response, 1, 0.02) == pytest.approx(settling, abs=1e-3)


def test_a_first_order_lag():
    response = 1 - np.exp(-TIME)

    assert overshoot(response, 0, 1) == 0
    assert transition_duration(TIME, response, 0, 1) == pytest.approx(np.log(9), abs=1e-6)
    assert settling_moment(TIME, response, 1, 0.02) == pytest.approx(np.log(50), abs=1e-6)


@pytest.mark.parametrize("falls", [False, True])
@pytest.mark.parametrize(
    ("damping", "excess_percent", "rise", "settling"),
    [
        (0.3, 37.23261, 1.3213, 11.2301),
        (0.5, 16.30335, 1.6376, 8.0764),
        (0.7, 4.59879, 2.1262, 5.9788),
    ],
)
def test_a_step_whose_levels_nobody_tells(falls, damping, excess_percent, rise, settling):
    """The levels by the histogram's modes cost a thousandth of the step; so do the terms."""
    before = np.arange(-20, 0, TIME[1])
    time = np.concatenate((before, TIME))
    response = np.concatenate((np.zeros(before.size), second_order(damping)))
    found = step_of(time, 30 - 3 * response if falls else 5 + 3 * response)
    back = 100 * np.exp(-2 * np.pi * damping / np.sqrt(1 - damping**2))

    assert found.rises is not falls
    assert found.amplitude == pytest.approx(3, rel=1e-3)
    assert found.overshoot == pytest.approx(excess_percent, abs=0.05)
    assert found.undershoot == pytest.approx(back, abs=0.05)
    assert found.duration_s == pytest.approx(rise, abs=1e-3)
    assert found.settled_s == pytest.approx(settling, abs=0.02)


def test_a_regulated_rotor_step():
    """A proportional and integral regulator, 1.2 and 0.9, on 1/(0.22 s + 0.002).

    Quoted by the same search on its analytic response: overshoot 8.74848 %, rise 0.3066, settling
    2.781.
    """
    numerator = np.array([1.2, 0.9]) / 0.22
    poles = np.roots([1, (0.002 + 1.2) / 0.22, 0.9 / 0.22])
    residues = [(numerator[0] * p + numerator[1]) / p / (p - q) for p, q in (poles, poles[::-1])]
    rest = sum(r * np.exp(p * TIME) for r, p in zip(residues, poles, strict=True))
    response = np.real(1 + rest)

    assert 100 * overshoot(response, 0, 1) == pytest.approx(8.74848, abs=1e-3)
    assert transition_duration(TIME, response, 0, 1) == pytest.approx(0.3066, abs=1e-4)
    assert settling_moment(TIME, response, 1, 0.02) == pytest.approx(2.781, abs=1e-3)
