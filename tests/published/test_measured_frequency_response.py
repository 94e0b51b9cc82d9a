"""A measured frequency response of a structure, as the open package vibration_toolbox ships it.

Its documentation gives 212.0925 Hz for the natural frequency of case 1, by a rational fit to the
lines 500 to 1000. The damping of that fit, 0.00081, hangs on its weights; a circle in the plane of
real and imaginary part about the peak (Kennedy and Pancu 1947, from memory) is a second opinion.
The lines lie 0.3125 Hz apart and the peak is 0.37 Hz wide: the damping is told by some percent.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import least_squares

from spinproof.signals.resonance import fit_resonance

pytestmark = pytest.mark.source(
    "vibration_toolbox, measured frequency response case 1", kind="published"
)

DATA = Path(__file__).parent / "data" / "frf_case_1.csv"
DOCUMENTED_HZ = 212.0925


def response() -> tuple[np.ndarray, np.ndarray]:
    frequency, real, imaginary = np.loadtxt(DATA, delimiter=",", skiprows=3, unpack=True)
    return frequency, real + 1j * imaginary


def by_circle(frequency: np.ndarray, vectors: np.ndarray) -> tuple[float, float]:
    """Fit a circle to the lines about the peak, and the angle along it."""
    peak = int(np.argmax(np.abs(vectors)))
    f, v = frequency[peak - 4 : peak + 5], vectors[peak - 4 : peak + 5]
    design = np.column_stack((v.real, v.imag, np.ones(f.size)))
    x, y, _ = np.linalg.lstsq(design, np.abs(v) ** 2, rcond=None)[0] / 2
    angle = np.unwrap(np.angle(v - complex(x, y)))

    def off(p: np.ndarray) -> np.ndarray:
        turned = 2 * np.arctan((p[0] ** 2 - f**2) / (2 * p[1] * f * p[0]))
        return p[2] + turned - angle

    found = least_squares(off, [f[4], 1e-3, float(angle[4])], x_scale=[0.1, 1e-4, 0.1])
    return float(found.x[0]), float(found.x[1])


@pytest.mark.parametrize("power", [-2, 0, 2])
def test_the_natural_frequency_is_the_documented_one(power):
    """Taken as displacement, or turned to acceleration and back: near one peak it is the same."""
    frequency, vectors = response()
    found = fit_resonance(2 * np.pi * frequency, vectors * frequency.astype(float) ** power)

    assert found.speed / (2 * np.pi) == pytest.approx(DOCUMENTED_HZ, abs=0.05)
    assert found.damping == pytest.approx(0.00081, rel=0.08)


def test_a_circle_through_the_peak_agrees():
    frequency, vectors = response()
    natural, damping = by_circle(frequency, vectors)
    found = fit_resonance(2 * np.pi * frequency, vectors)

    assert natural == pytest.approx(DOCUMENTED_HZ, abs=0.05)
    assert found.damping == pytest.approx(damping, rel=0.08)


def test_the_highest_line_alone_would_be_off_by_more():
    frequency, vectors = response()

    assert abs(frequency[np.argmax(np.abs(vectors))] - DOCUMENTED_HZ) > 0.09
