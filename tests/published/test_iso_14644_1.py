"""Classes of air cleanliness against ISO 14644-1:2015, table 1 and annex A (from memory)."""

import pytest

from spinproof.stats.cleanliness import particle_limit, sample_volume

pytestmark = pytest.mark.source("ISO 14644-1:2015", kind="from memory")


@pytest.mark.parametrize(
    ("iso_class", "limits"),
    [
        (3, {0.1: 1000, 0.2: 237, 0.3: 102, 0.5: 35}),
        (4, {0.1: 10_000, 0.2: 2370, 0.3: 1020, 0.5: 352, 1.0: 83}),
        (5, {0.1: 100_000, 0.2: 23_700, 0.3: 10_200, 0.5: 3520, 1.0: 832}),
        (6, {0.1: 1_000_000, 0.2: 237_000, 0.3: 102_000, 0.5: 35_200, 1.0: 8320, 5.0: 293}),
        (7, {0.5: 352_000, 1.0: 83_200, 5.0: 2930}),
        (8, {0.5: 3_520_000, 1.0: 832_000, 5.0: 29_300}),
    ],
)
def test_the_limits_of_a_class(iso_class, limits):
    for size, limit in limits.items():
        assert particle_limit(iso_class, size) == pytest.approx(limit, abs=0.5)


@pytest.mark.parametrize(
    ("iso_class", "size", "litres"), [(5, 0.5, 5.682), (4, 0.3, 19.608), (6, 0.5, 2.0)]
)
def test_the_smallest_sample_of_air(iso_class, size, litres):
    assert sample_volume(iso_class, size) == pytest.approx(litres * 1e-3, abs=5e-7)
