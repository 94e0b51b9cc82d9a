"""Terms of a step response against the closed forms of first- and second-order systems.

Overshoot exp(-πζ/√(1-ζ²)), rise ln 9 and settling ln 50 of a first-order lag stand in every text
on control; the rise and settling times of the second-order systems are quoted
from the same laws, found by a fine search on the analytic response.
"""

import numpy as np
import pytest

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
