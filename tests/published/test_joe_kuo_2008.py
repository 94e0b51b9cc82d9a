"""Scrambled Sobol points against what Sobol, Joe and Kuo, and Owen promise of them.

I. M. Sobol (1967): 2**m points put equally many into every dyadic interval of each factor, and
the first two factors put one point into every elementary box of volume 2**-m. S. Joe and
F. Y. Kuo, SIAM J. Sci. Comput. 30, 2635 (2008), give the direction numbers that keep this for
many factors; A. B. Owen, J. Complexity 14, 466 (1998), shows that scrambling keeps it too.
"""

import numpy as np
import pytest
from tests.demo_files import LOWER

from spinproof.model.head import Span
from spinproof.plan.region import CANDIDATES_LOG2, Region

pytestmark = pytest.mark.source("Sobol 1967; Joe, Kuo 2008; Owen 1998", kind="published")

HUGE = 1e12
WITHOUT_CONSTRAINTS = LOWER.model_copy(
    update={
        "motor_torque_limit_n_m": 1e30,
        "envelope": LOWER.envelope.model_copy(
            update={
                "rinse_rpm": Span(low=0.0, high=HUGE),
                "final_dry_rpm": Span(low=0.0, high=HUGE),
                "fast_dry_rpm": Span(low=2 * HUGE, high=3 * HUGE),
                "ramp_rpm_per_s": Span(low=HUGE, high=2 * HUGE),
                "rinse_s": Span(low=HUGE, high=2 * HUGE),
                "purge_s": Span(low=HUGE, high=2 * HUGE),
                "fast_dry_s": Span(low=HUGE, high=2 * HUGE),
                "final_dry_s": Span(low=HUGE, high=2 * HUGE),
                "process_time_limit_s": 1e30,
                "duty_limit_rpm2": 1e40,
                "step_up_rpm": 0.0,
            }
        ),
    }
)


def drawn(seed: int) -> np.ndarray:
    region = Region(WITHOUT_CONSTRAINTS)
    points, share = region.sobol(seed)
    assert share == 1.0
    return region.to_unit(points)


@pytest.mark.parametrize("seed", [0, 1041])
def test_every_dyadic_interval_of_every_factor_holds_equally_many_points(seed: int):
    unit = drawn(seed)

    for column in unit.T:
        counts = np.bincount((column * 4096).astype(int), minlength=4096)
        assert set(counts) == {2**CANDIDATES_LOG2 // 4096}


@pytest.mark.parametrize("wide", range(0, CANDIDATES_LOG2 + 1, 2))
def test_every_elementary_box_of_the_first_two_factors_holds_one_point(wide: int):
    unit = drawn(1041)
    columns, rows = 2**wide, 2 ** (CANDIDATES_LOG2 - wide)
    boxes = (unit[:, 0] * columns).astype(int) * rows + (unit[:, 1] * rows).astype(int)

    assert sorted(boxes) == list(range(2**CANDIDATES_LOG2))


def test_scrambling_depends_on_the_seed_alone():
    assert np.array_equal(drawn(7), drawn(7))
    assert not np.array_equal(drawn(7), drawn(8))
