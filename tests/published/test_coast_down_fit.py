"""Drag terms from a tach's pulses, against a path of closed form: dω/dt = -(a + b ω + c ω²).

For 4ac > b² the speed falls along a tangent, and the angle along the logarithm of a cosine: an
integration that the fit, which steps numerically, shares nothing with.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from spinproof.signals.coast_down import decelerations

pytestmark = pytest.mark.source(
    "SAE J1263 coast-down, three terms (from memory); closed form of its path",
    kind="independent route",
)

A, B, C = 0.5454545, 0.00909091, 6.818182e-5
FIRST = 2000 * np.pi / 30


def turned(time: float) -> float:
    root = np.sqrt(4 * A * C - B * B)
    start = np.arctan((2 * C * FIRST + B) / root)
    now = start - root * time / 2
    return np.log(np.cos(now) / np.cos(start)) / C - B * time / (2 * C)


def moments(revolutions: int) -> np.ndarray:
    return np.array([brentq(lambda t, k=k: turned(t) - 2 * np.pi * k, 0, 125, xtol=1e-12)
                     for k in range(revolutions)])  # fmt: skip


def test_the_terms_come_back_from_jittered_pulses():
    exact = moments(1327)
    seen = exact + np.random.default_rng(7).normal(0, 50e-6, exact.size)

    found = decelerations(seen, 2 * np.pi * np.arange(exact.size))

    spread = np.sqrt(np.diag(found.covariance))
    assert (np.abs(found.estimate - [A, B, C]) < 4 * spread).all()
    assert spread == pytest.approx([2.2e-6, 8.0e-8, 5.9e-10], rel=0.15)


def test_the_fit_steps_as_the_closed_form_goes():
    exact = moments(600)

    found = decelerations(exact, 2 * np.pi * np.arange(exact.size))

    assert found.estimate == pytest.approx([A, B, C], rel=1e-6)
