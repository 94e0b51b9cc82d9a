"""Centred L2 discrepancy against F. J. Hickernell, Math. Comp. 67, 299 (1998).

The six-point design and its value stand in K.-T. Fang, R. Li and A. Sudjianto, *Design and
Modeling for Computer Experiments* (2006), as the documentation of scipy repeats them. The other
numbers follow from Hickernell's formula by hand; the last check writes the formula out.
"""

import numpy as np
import pytest

from spinproof.plan.quality import centred_discrepancy

pytestmark = pytest.mark.source("Hickernell 1998; Fang, Li, Sudjianto 2006", kind="published")


def test_the_six_point_design_of_the_book():
    design = np.array([[1, 3], [2, 6], [3, 2], [4, 5], [5, 1], [6, 4]])

    assert centred_discrepancy((design - 0.5) / 6) == pytest.approx(0.0081, abs=5e-5)
    assert centred_discrepancy((design - 0.5) / 6) == pytest.approx(0.008142039609053, rel=1e-9)


@pytest.mark.parametrize("runs", [1, 2, 7, 50])
def test_midpoints_on_a_line_give_one_twelfth_over_n_squared(runs: int):
    midpoints = (np.arange(runs)[:, np.newaxis] + 0.5) / runs

    assert centred_discrepancy(midpoints) == pytest.approx(1 / (12 * runs**2), rel=1e-9)


@pytest.mark.parametrize("factors", [1, 2, 8])
def test_the_centre_alone(factors: int):
    expected = (13 / 12) ** factors - 1

    assert centred_discrepancy(np.full((1, factors), 0.5)) == pytest.approx(expected, rel=1e-9)


def test_the_formula_written_out():
    x = np.random.default_rng(2).random((17, 5)) - 0.5
    near = 1 + np.abs(x) / 2
    single = (near - x**2 / 2).prod(axis=1)
    pairs = near[:, np.newaxis] + np.abs(x) / 2 - np.abs(x[:, np.newaxis] - x) / 2
    expected = (13 / 12) ** 5 - 2 / 17 * single.sum() + pairs.prod(axis=2).sum() / 17**2

    assert centred_discrepancy(x + 0.5) == pytest.approx(expected, rel=1e-12)
