"""The feasible set of a head's envelope: many points of it, their terciles, what exists at all."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from spinproof.model.head import HeadSpec
from spinproof.model.plan import Ban
from spinproof.plan.exchange import mean_distances
from spinproof.plan.region import Region

CANDIDATES = 12_000
TESTS = 10_000
"""Points to measure a plan with; they are none of the candidates, where there are enough."""
INNER = 2500
"""Test points whose mean distance to all test points stands for that of any two."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class FeasibleSet:
    """Points of what an envelope leaves.

    Attributes
    ----------
    region : Region
        The region they lie in.
    share : float
        Share of the envelope's box that is feasible. [1]
    candidates : ndarray
        Points to choose from, in the factors' own units.
    candidate_unit : ndarray
        The same in the unit cube. [1]
    test_unit : ndarray
        Points to measure a plan with, in the unit cube. [1]
    edges : ndarray
        Lower and upper edge of the middle third of each factor, in the unit cube. [1]
    """

    region: Region
    share: float
    candidates: Floats
    candidate_unit: Floats
    test_unit: Floats
    edges: Floats

    def levels(self, unit: Floats) -> Ints:
        """Give low, middle or high third, as 0, 1 or 2, of each coordinate."""
        return np.asarray((unit > self.edges[0]).astype(np.int64) + (unit > self.edges[1]))

    def pairs(self) -> NDArray[np.bool_]:
        """Tell which pairs of levels exist: first factor, second factor before it, levels."""
        levels = self.levels(np.concatenate([self.candidate_unit, self.test_unit]))
        factors = levels.shape[1]
        exist = np.zeros((factors, factors, 3, 3), dtype=np.bool_)
        for f, g in itertools.combinations(range(factors), 2):
            exist[g, f, levels[:, g], levels[:, f]] = True
        return exist


@lru_cache(maxsize=16)
def feasible_set(head: HeadSpec, bans: Sequence[Ban], seed: int) -> FeasibleSet:
    """Draw the feasible set of a head's envelope.

    Parameters
    ----------
    head : HeadSpec
        The head, with its envelope.
    bans : sequence of Ban
        Parts of the envelope to keep out of; a tuple.
    seed : int
        Seed of every random draw. [1]

    Returns
    -------
    FeasibleSet
        Candidates and, apart from them, test points; the same points where only few are feasible.

    Raises
    ------
    PlanError
        If nothing is feasible; it says which constraints collide.
    """
    region = Region(head, bans)
    points, share = region.sobol(seed)
    points = np.random.default_rng(seed).permutation(points)
    split = min(CANDIDATES, -(-len(points) // 2))
    tests = points[split : split + TESTS] if len(points) > 1 else points
    unit, test_unit = region.to_unit(points[:split]), region.to_unit(tests)
    return FeasibleSet(
        region=region,
        share=share,
        candidates=points[:split],
        candidate_unit=unit,
        test_unit=test_unit,
        edges=np.quantile(unit, [1 / 3, 2 / 3], axis=0),
    )


@lru_cache(maxsize=16)
def inner_distance(feasible: FeasibleSet) -> float:
    """Mean distance of two feasible points.

    Parameters
    ----------
    feasible : FeasibleSet
        The set.

    Returns
    -------
    float
        The mean in the unit cube. [1]
    """
    return float(mean_distances(feasible.test_unit[:INNER], feasible.test_unit).mean())
