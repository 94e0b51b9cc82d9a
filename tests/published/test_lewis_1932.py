"""A ramp through a resonance against F. M. Lewis, Trans. ASME 54 (1932): it moves the peak.

With q = ωn²/α the highest response lies above the natural speed on the way up and below it on
the way down, and is lower than at steady speed (8.3484 for a damping of 0.06). Heights and places
come by integrating the equation of motion; the paper itself was not opened. What is checked of the
project are the vectors that it tracks through such a ramp, and the resonance that it fits to them.
"""

from functools import cache

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from spinproof.signals.orders import order_vectors
from spinproof.signals.resonance import fit_resonance, unbalance_response

pytestmark = pytest.mark.source(
    "F. M. Lewis, Trans. ASME 54 (1932) APM-54-24 (from memory)", kind="independent route"
)

NATURAL = 1010 * np.pi / 30
DAMPING = 0.06
Q, TURNS = 2136.5, 2


@cache
def ramp(sign: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give time, angle and whirl over its eccentricity, for a ramp between 0.6 and 1.4 of ωn."""
    rate = sign * NATURAL**2 / Q
    first = NATURAL * (1 - 0.4 * sign)
    end = 0.8 * NATURAL / abs(rate)

    def motion(t: float, state: np.ndarray) -> list[complex]:
        place, velocity = state
        speed, angle = first + rate * t, first * t + rate * t**2 / 2
        force = (speed**2 - 1j * rate) * np.exp(1j * angle)
        return [velocity, force - 2 * DAMPING * NATURAL * velocity - NATURAL**2 * place]

    steady = complex(unbalance_response(first, NATURAL, DAMPING))
    time = np.linspace(0, end, 40_000)
    found = solve_ivp(
        motion, (0, end), [steady, 1j * first * steady], t_eval=time, rtol=1e-8, atol=1e-10
    )
    return time, first * time + rate * time**2 / 2, found.y[0]


def tracked(sign: int) -> tuple[np.ndarray, np.ndarray]:
    """Give speeds over the natural one and 1x vectors of two turns each, by a tach and a sensor."""
    time, angle, whirl = ramp(sign)
    turns = np.arange(0, int(angle[-1] / (2 * np.pi)))
    edges = np.interp(2 * np.pi * turns, angle, time)
    speeds, vectors = [], []
    for first in range(3, turns.size - 6, TURNS):
        near = edges[first - 3 : first + TURNS + 1]
        inside = (time >= near[0] - 0.01) & (time <= near[-1] + 0.01)
        one = order_vectors(time[inside], whirl.real[inside], near, 1, (1,), TURNS)
        vectors.append(complex(one[0]))
        speeds.append(2 * np.pi * TURNS / (near[-1] - near[3]))
    return np.array(speeds) / NATURAL, np.array(vectors)


@pytest.mark.parametrize(("sign", "height", "place"), [(1, 8.3818, 1.0187), (-1, 8.2099, 0.9899)])
def test_the_tracked_peak_is_as_high_and_lies_where_it_should(sign, height, place):
    speeds, vectors = tracked(sign)
    top = int(np.argmax(np.abs(vectors)))

    assert float(np.abs(vectors).max()) == pytest.approx(height, rel=5e-3)
    assert speeds[top] == pytest.approx(place, abs=0.006)  # turns lie that far apart


def test_run_up_and_coast_down_lie_on_both_sides_of_the_natural_speed():
    up, down = (fit_resonance(*tracked(sign)) for sign in (1, -1))

    assert up.speed > 1 > down.speed
    assert (up.speed + down.speed) / 2 == pytest.approx(1, abs=1e-3)
    assert (up.damping + down.damping) / 2 == pytest.approx(DAMPING, rel=0.06)
