"""Gauge study against the example of Measurement Systems Analysis, 4th ed. (AIAG, 2010).

Ten parts, three appraisers, three trials. Data and results were seen in public places that quote
the manual; the results are checked to more digits by a second route, least squares on indicator
columns with scipy's F distribution.
"""

import numpy as np
import pytest
from scipy.stats import f

from spinproof.stats.gauge_study import gauge_study

pytestmark = pytest.mark.source("AIAG Measurement Systems Analysis, 4th ed.", kind="published")

TRIALS = [  # rows: appraiser A, B, C, three trials each; columns: parts 1 to 10
    [0.29, -0.56, 1.34, 0.47, -0.80, 0.02, 0.59, -0.31, 2.26, -1.36],
    [0.41, -0.68, 1.17, 0.50, -0.92, -0.11, 0.75, -0.20, 1.99, -1.25],
    [0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31],
    [0.08, -0.47, 1.19, 0.01, -0.56, -0.20, 0.47, -0.63, 1.80, -1.68],
    [0.25, -1.22, 0.94, 1.03, -1.20, 0.22, 0.55, 0.08, 2.12, -1.62],
    [0.07, -0.68, 1.34, 0.20, -1.28, 0.06, 0.83, -0.34, 2.19, -1.50],
    [0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49],
    [-0.11, -1.13, 1.09, 0.20, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77],
    [-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16],
]
BLOCK = np.array(TRIALS).reshape(3, 3, 10).transpose(2, 0, 1)


def test_the_analysis_of_variance_of_the_example():
    study = gauge_study(BLOCK)
    table = {row.name: row for row in study.table}

    assert [row.degrees for row in study.table] == [9, 2, 18, 60]
    assert table["part"].sum_of_squares == pytest.approx(88.36193, abs=5e-6)
    assert table["appraiser"].sum_of_squares == pytest.approx(3.16726, abs=5e-6)
    assert table["interaction"].sum_of_squares == pytest.approx(0.35898, abs=5e-6)
    assert table["repeatability"].sum_of_squares == pytest.approx(2.75893, abs=5e-6)
    assert table["interaction"].ratio == pytest.approx(0.434, abs=5e-4)
    assert table["interaction"].chance == pytest.approx(0.974, abs=5e-4)
    assert study.pooled


def test_the_variances_and_shares_of_the_example():
    study = gauge_study(BLOCK)

    assert study.repeatability == pytest.approx(0.0399733, abs=5e-8)
    assert study.appraiser == pytest.approx(0.0514553, abs=5e-8)
    assert study.gauge == pytest.approx(0.0914285, abs=5e-8)
    assert study.part == pytest.approx(1.0864466, abs=5e-8)
    assert study.total == pytest.approx(1.1778751, abs=5e-8)
    assert study.study_share(study.gauge) == pytest.approx(27.86, abs=5e-3)
    assert study.study_share(study.repeatability) == pytest.approx(18.42, abs=5e-3)
    assert study.study_share(study.appraiser) == pytest.approx(20.90, abs=5e-3)
    assert study.study_share(study.part) == pytest.approx(96.04, abs=5e-3)
    assert study.distinct_categories == 4
    assert study.cut == ()


@pytest.mark.source("least squares on indicator columns", kind="independent route")
def test_least_squares_split_the_squares_in_the_same_way():
    """Each source is what the fit loses when its columns are left out."""
    part, appraiser, _ = (axis.ravel() for axis in np.indices(BLOCK.shape))
    y = BLOCK.ravel()
    columns = {
        "mean": np.ones((y.size, 1)),
        "part": np.eye(10)[part],
        "appraiser": np.eye(3)[appraiser],
        "interaction": np.eye(30)[part * 3 + appraiser],
    }

    def left_over(*names):
        design = np.hstack([columns[name] for name in names])
        fit = design @ np.linalg.lstsq(design, y, rcond=None)[0]
        return float(np.sum((y - fit) ** 2))

    both = left_over("mean", "part", "appraiser")
    error = left_over("mean", "interaction")
    squares = {row.name: row.sum_of_squares for row in gauge_study(BLOCK).table}

    assert squares["part"] == pytest.approx(left_over("mean", "appraiser") - both, rel=1e-9)
    assert squares["appraiser"] == pytest.approx(left_over("mean", "part") - both, rel=1e-9)
    assert squares["interaction"] == pytest.approx(both - error, rel=1e-9)
    assert squares["repeatability"] == pytest.approx(error, rel=1e-9)


@pytest.mark.source("scipy.stats.f", kind="independent route")
def test_the_chances_are_those_of_the_f_distribution():
    for pooling in (0.25, 1.0):
        study = gauge_study(BLOCK, pooling=pooling)
        freedom = 78 if study.pooled else 18
        for row in study.table[:2]:
            assert row.chance == pytest.approx(f.sf(row.ratio, row.degrees, freedom), rel=1e-9)
