"""Crest factor and kurtosis block by block, and what a severity is uncertain by."""

import numpy as np
import pytest
from scipy import stats

from spinproof.model.errors import OutOfRangeError
from spinproof.signals.moments import Moments, severity_uncertainty
from spinproof.signals.severity import crest_factor, velocity_severity

pytestmark = pytest.mark.source("SciPy stats.kurtosis", kind="independent route")


def in_blocks(values, length):
    moments = Moments()
    for first in range(0, values.size, length):
        moments = moments.with_block(values[first : first + length])
    return moments


@pytest.mark.parametrize("offset", [0.0, 9.81, -1e6])
def test_blocks_give_what_the_whole_gives_whatever_the_offset(offset):
    values = offset + np.random.default_rng(3).standard_gamma(2.0, 10_000)
    found = in_blocks(values, 777)

    assert found.kurtosis() == pytest.approx(stats.kurtosis(values, fisher=False), rel=1e-7)
    assert found.crest_factor() == pytest.approx(crest_factor(values), rel=1e-8)


def test_a_sine_has_its_known_values():
    values = np.sin(2 * np.pi * 50 * np.arange(8000) / 8000)

    assert in_blocks(values, 1000).kurtosis() == pytest.approx(1.5)
    assert in_blocks(values, 1000).crest_factor() == pytest.approx(np.sqrt(2))


@pytest.mark.parametrize("moments", [Moments(), Moments().with_block([2.0, 2.0]).with_block([])])
def test_what_does_not_move_has_neither(moments):
    assert not moments.moves
    with pytest.raises(OutOfRangeError):
        moments.kurtosis()
    with pytest.raises(OutOfRangeError):
        moments.crest_factor()


def test_a_silent_converter_reads_as_much_as_its_resolution_says():
    """Readings rounded from noise below one count, worked out through the severity itself."""
    noise = np.random.default_rng(4).normal(0, 5, 200_000)
    error = np.rint(noise) - noise  # a converter of resolution 1 m/s2
    measured = np.sqrt(np.mean(velocity_severity(error, 10_000) ** 2))

    assert severity_uncertainty(0, 0.05, 1.0, 10_000) == pytest.approx(measured, rel=0.1)


def test_the_scale_and_the_method_go_with_the_severity():
    u = severity_uncertainty(4.0, 0.03, 0.0, 8000)

    assert u == pytest.approx(4.0 * np.hypot(0.03, 0.001 / np.sqrt(3)))
    with pytest.raises(OutOfRangeError):
        severity_uncertainty(-1.0, 0.03, 0.0, 8000)
