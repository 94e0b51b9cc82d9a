"""Severity window by window: rms velocity of a line is its acceleration over 2 pi f sqrt 2."""

import numpy as np
import pytest

from spinproof.signals.windows import Converter, WindowMeter

pytestmark = pytest.mark.source(
    "ISO 20816-1: velocity severity, 10 to 1000 Hz; closed form of a line", kind="independent route"
)
SCALE = 1e-4


@pytest.mark.parametrize(
    ("frequency", "mm_per_s", "within"),
    [
        (50.0, 2.25079, 3e-4),
        (50.5, 2.22851, 3e-4),
        (333.3, 1000 / (2 * np.pi * 333.3 * np.sqrt(2)), 3e-4),
        (999.0, 1000 / (2 * np.pi * 999.0 * np.sqrt(2)), 3e-4),
        (10.5, 10.7181, 0.02),  # leaks over the end of the band
    ],
)
def test_a_line_of_1_m_per_s2_reads_its_velocity(frequency, mm_per_s, within):
    t = np.arange(20_000) / 10_000
    counts = np.rint(np.cos(2 * np.pi * frequency * t + 0.3) / SCALE).astype(np.int16)
    found = WindowMeter(10_000, [Converter(SCALE)]).measure(counts[:, np.newaxis], 0.0)

    assert 1000 * found.severity[:, 0] == pytest.approx(mm_per_s, rel=within)


def test_three_lines_inside_the_band_add_up_and_two_outside_do_not():
    t = np.arange(16 * 4096) / 4096
    lines = ((5, 0.20, 0.3), (29, 1.5, 1.0), (58, 0.8, -0.4), (400, 30, 0.1), (1500, 40, 2.0))
    values = sum(size * np.cos(2 * np.pi * f * t + phase) for f, size, phase in lines)
    counts = np.rint(values / 0.001).astype(np.int32)
    found = WindowMeter(4096, [Converter(0.001)]).measure(counts[:, np.newaxis], 0.0)

    inside = [1000 * size / (2 * np.pi * f * np.sqrt(2)) for f, size, _ in lines[1:4]]
    assert 1000 * found.severity[:, 0] == pytest.approx(
        np.sqrt(np.sum(np.square(inside))), rel=5e-4
    )
