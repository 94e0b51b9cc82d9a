"""Zero events against Hanley and Lippman-Hand, JAMA 249, 1743 (1983): "the rule of three".

The exact bounds are recomputed from 1 - 0.05^(1/n).
"""

import pytest

from spinproof.stats.counts import share_upper_bound

pytestmark = pytest.mark.source("Hanley, Lippman-Hand 1983", kind="from memory")


@pytest.mark.parametrize(
    ("inspected", "bound"),
    [
        (13, 0.2058),
        (25, 0.11293),
        (50, 0.058155),
        (65, 0.045042),
        (100, 0.029513),
        (200, 0.014867),
        (300, 0.0099361),
        (1400, 0.00213752),
    ],
)
def test_none_found_among_so_many(inspected, bound):
    assert share_upper_bound(0, inspected) == pytest.approx(
        bound, abs=5e-6 if bound < 0.2 else 5e-5
    )
    if inspected >= 50:
        assert share_upper_bound(0, inspected) == pytest.approx(3 / inspected, rel=0.04)


def test_wafers_of_one_run_that_share_their_fate_count_once():
    """56 runs of 25 wafers: 0.2 % when independent, 5.2 % when a run is wet or dry as a whole."""
    apart, alike = (share_upper_bound(0, 1400, alike=rho, group=25) for rho in (0.0, 1.0))

    assert apart == pytest.approx(0.002138, abs=1e-6)
    assert alike == pytest.approx(1 - 0.05 ** (1 / 56), rel=1e-9)
