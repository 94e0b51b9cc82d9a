"""Sampling of lots against ISO 2859-1:1999 and ANSI/ASQ Z1.4, general inspection level II.

Sample sizes for lots of 26 to 280 were seen in public texts; the others are from memory. The
probabilities come from the binomial formula, written out.
"""

from math import comb

import pytest

from spinproof.stats.sampling import acceptance_probability, defective_share, sample_size

pytestmark = pytest.mark.source("ISO 2859-1, ANSI/ASQ Z1.4", kind="published")


@pytest.mark.parametrize(
    ("lot", "plan"),
    [
        (26, ("D", 8)),
        (50, ("D", 8)),
        (51, ("E", 13)),
        (60, ("E", 13)),
        (90, ("E", 13)),
        (91, ("F", 20)),
        (150, ("F", 20)),
        (151, ("G", 32)),
        (280, ("G", 32)),
    ],
)
def test_sample_sizes_at_level_two(lot, plan):
    assert sample_size(lot) == plan


@pytest.mark.source("ISO 2859-1, table 1", kind="from memory")
@pytest.mark.parametrize(
    ("lot", "plan"),
    [
        *((2, ("A", 2)), (8, ("A", 2)), (9, ("B", 3)), (15, ("B", 3)), (16, ("C", 5))),
        *((25, ("C", 5)), (281, ("H", 50)), (500, ("H", 50)), (501, ("J", 80))),
        *((1200, ("J", 80)), (1201, ("K", 125)), (3200, ("K", 125)), (3201, ("L", 200))),
        *((10_000, ("L", 200)), (10_001, ("M", 315)), (35_000, ("M", 315))),
        *((35_001, ("N", 500)), (150_000, ("N", 500)), (150_001, ("P", 800))),
        *((500_000, ("P", 800)), (500_001, ("Q", 1250))),
    ],
)
def test_sample_sizes_of_smaller_and_larger_lots(lot, plan):
    assert sample_size(lot) == plan


@pytest.mark.source("binomial formula", kind="independent route")
@pytest.mark.parametrize(("share", "accepted"), [(0.05, 0.5133), (0.10, 0.2542), (0.16, 0.1037)])
def test_thirteen_inspected_and_none_defective_says_little(share, accepted):
    assert acceptance_probability(13, 0, share) == pytest.approx(accepted, abs=5e-5)
    assert acceptance_probability(13, 0, share) == pytest.approx((1 - share) ** 13, rel=1e-12)


@pytest.mark.source("hypergeometric formula", kind="independent route")
def test_a_small_lot_is_drawn_without_putting_back():
    """Sixty nozzles, three of them bad, thirteen inspected."""
    expected = comb(57, 13) / comb(60, 13)

    assert acceptance_probability(13, 0, 0.05, lot=60) == pytest.approx(expected, rel=1e-12)
    assert expected < acceptance_probability(13, 0, 0.05)


@pytest.mark.source("binomial formula", kind="independent route")
def test_the_share_that_slips_through_once_in_ten():
    assert defective_share(13, 0, 0.1) == pytest.approx(1 - 0.1 ** (1 / 13), rel=1e-9)
