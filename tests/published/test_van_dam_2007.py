"""Best known maximin Latin hypercubes, squared Euclidean distance on levels 0 to n - 1.

E. R. van Dam, B. Husslage, D. den Hertog and H. Melissen, "Maximin Latin hypercube designs in two
dimensions," Oper. Res. 55, 158-169 (2007), gives the proven optima of two factors; B. Husslage,
G. Rennen, E. R. van Dam and D. den Hertog, "Space-filling Latin hypercube designs for computer
experiments," Optim. Eng. 12, 611-630 (2011), and the public database of its authors those of more.
The upper bound is that of the mean squared distance, n (n + 1) k / 6.
"""

import pytest

from spinproof.plan.latin import latin_levels, smallest_squared_distance

pytestmark = pytest.mark.source("van Dam, Husslage, den Hertog, Melissen 2007", kind="published")

TWO_FACTORS = {2: 2, 3: 2, 4: 5, 5: 5, 6: 5, 7: 8, 8: 8}
THREE_FACTORS = {2: 3, 3: 6, 4: 6, 5: 11, 6: 14}


@pytest.mark.parametrize(
    ("runs", "factors", "best"),
    [(n, 2, d) for n, d in TWO_FACTORS.items()] + [(n, 3, d) for n, d in THREE_FACTORS.items()],
)
def test_small_designs_reach_the_proven_optimum_and_never_pass_it(
    runs: int, factors: int, best: int
):
    found = [
        smallest_squared_distance(latin_levels(runs, factors, seed=seed, swaps=20_000))
        for seed in range(4)
    ]

    assert max(found) == best


def test_9_runs_of_2_factors_are_a_known_weakness_of_swaps():
    """10 is proven; the way there leads past rows that touch, and the search stays at 8."""
    found = smallest_squared_distance(latin_levels(9, 2, seed=1, swaps=20_000))

    assert 8 <= found <= 10


def test_56_runs_of_8_factors_come_near_the_best_known():
    """2541 in the database; the mean squared distance of all pairs, 4256, cannot be passed."""
    found = smallest_squared_distance(latin_levels(56, 8, seed=3, swaps=6_000_000))

    assert 0.97 * 2541 <= found <= 4256
