"""How well a plan covers what its envelope leaves, in numbers that anybody can take again."""

import itertools
from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import cdist, pdist
from scipy.stats import qmc

from spinproof.model.head import HeadSpec
from spinproof.model.plan import Ban, Cell, Plan, PlannedRun
from spinproof.model.plan_quality import Compared, PlanQuality, Seen
from spinproof.plan.completing import factor_rows, level_rows, possible_pairs
from spinproof.plan.feasible import FeasibleSet, feasible_set, inner_distance
from spinproof.plan.order import order_correlation
from spinproof.plan.region import FACTORS

SOBOL = "Sobol points, scrambled, what is feasible of them"
LATIN = "Latin hypercube, centred discrepancy improved by swaps, what is feasible of it"
THIRDS = ("low", "middle", "high")

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def feasible_of(plan: Plan, head: HeadSpec) -> FeasibleSet:
    """Give the feasible set that a plan was made in.

    Parameters
    ----------
    plan : Plan
        The plan.
    head : HeadSpec
        The head it was made for.

    Returns
    -------
    FeasibleSet
        The set, by the plan's own seed.
    """
    return feasible_set(head, plan.asked.bans if plan.asked else (), plan.seed)


def plan_quality(plan: Plan, head: HeadSpec) -> PlanQuality:
    """Measure how a plan covers its region.

    A recipe that is repeated counts once; one with other steps, or outside of the envelope's box,
    is left out. The discrepancy refers to the whole box, so that constraints alone keep it above
    zero: the energy distance refers to what they leave.

    Parameters
    ----------
    plan : Plan
        The plan.
    head : HeadSpec
        The head it was made for.

    Returns
    -------
    PlanQuality
        The numbers.
    """
    feasible = feasible_of(plan, head)
    counts = sorted(set(head.envelope.wafer_counts))
    unit = unit_points(plan.runs, feasible)
    given = unit_points([run for run in plan.runs if run.cell is not Cell.FILL], feasible)
    chosen = (unit[:, np.newaxis] != given).any(axis=2).all(axis=1)
    return measured(
        feasible,
        unit,
        chosen,
        level_rows(feasible, plan.runs, counts),
        factor_rows(feasible, plan.runs),
        counts,
    )


def unit_points(runs: Sequence[PlannedRun], feasible: FeasibleSet) -> Floats:
    """Give the different recipes of a plan in the unit cube, in the order of their first run.

    Parameters
    ----------
    runs : sequence of PlannedRun
        The runs.
    feasible : FeasibleSet
        What the envelope leaves.

    Returns
    -------
    ndarray
        A row for a recipe. [1]
    """
    found = dict[tuple[float, ...], None]()
    for run in runs:
        point = feasible.region.point_of(run.recipe)
        if point is not None:
            found[tuple(map(float, point))] = None
    points = np.array(list(found), dtype=np.float64).reshape(len(found), len(FACTORS))
    return feasible.region.to_unit(points)


def compare(plan: Plan, head: HeadSpec) -> tuple[Compared, ...]:
    """Set a plan beside as many points of two ordinary generators, on the same measures.

    Parameters
    ----------
    plan : Plan
        The plan.
    head : HeadSpec
        The head it was made for.

    Returns
    -------
    tuple of Compared
        The plan, then scrambled Sobol points and a Latin hypercube, both filtered.

    Notes
    -----
    The generators are those of SciPy. Their points take heater and loads in turn, and their runs
    stand in the order in which they were drawn.
    """
    own = plan_quality(plan, head)
    bans = plan.asked.bans if plan.asked else ()
    feasible = feasible_of(plan, head)
    known = [run for run in plan.runs if feasible.region.point_of(run.recipe) is not None]
    runs = {(run.recipe.steps, run.load.wafer_count) for run in known}
    others = _ordinary(head, bans, plan.seed, own.points, max(own.points, len(runs)))
    return (Compared("this plan", own), *others)


@lru_cache(maxsize=16)
def _ordinary(
    head: HeadSpec, bans: Sequence[Ban], seed: int, points: int, runs: int
) -> tuple[Compared, ...]:
    """Measure the ordinary generators: so many points, and levels of so many runs."""
    feasible = feasible_set(head, bans, seed)
    counts = sorted(set(head.envelope.wafer_counts))
    sobol = feasible.region.sobol(seed + 1)[0][:runs]
    drawn = {SOBOL: sobol, LATIN: _filtered_latin(feasible, seed, runs)}
    found = list[Compared]()
    for name, values in drawn.items():
        unit = feasible.region.to_unit(values)
        turns = np.arange(len(values))
        deals = np.stack([turns % 2, turns // 2 % len(counts)], axis=1)
        levels = np.hstack([feasible.levels(unit), deals])
        rows = np.column_stack([values, deals[:, 0], np.array(counts)[deals[:, 1]]])
        every = np.ones(len(unit[:points]), dtype=np.bool_)
        taken = measured(feasible, unit[:points], every, levels, rows, counts)
        found.append(Compared(name, taken))
    return tuple(found)


def _filtered_latin(feasible: FeasibleSet, seed: int, count: int) -> Floats:
    """Give feasible rows of a Latin hypercube that is as large as needed to hold them."""
    size, rows = round(count / max(feasible.share, 0.02)) + 1, np.empty((0, len(FACTORS)))
    while len(rows) < count and size < 4000:
        engine = qmc.LatinHypercube(
            len(FACTORS), optimization="random-cd", rng=np.random.default_rng(seed)
        )
        points = feasible.region.from_unit(engine.random(size))
        rows, size = points[feasible.region.holds(points)], round(size * 1.3) + 1
    return rows[:count]


def measured(
    feasible: FeasibleSet,
    unit: Floats,
    chosen: NDArray[np.bool_],
    levels: Ints,
    values: Floats,
    counts: Sequence[int],
) -> PlanQuality:
    """Take the measures of points.

    Parameters
    ----------
    feasible : FeasibleSet
        What the envelope leaves.
    unit : ndarray
        Different points in the unit cube, a row for a point. [1]
    chosen : ndarray
        Which of them were chosen, and not given.
    levels : ndarray
        Levels of all runs: factors, heater, load. [1]
    values : ndarray
        Factors, heater and wafers of the runs in order; NaN where a run is not randomised.
    counts : sequence of int
        Numbers of wafers of the envelope, in rising order. [1]

    Returns
    -------
    PlanQuality
        The numbers.

    References
    ----------
    .. [1] F. J. Hickernell, "A generalized discrepancy and quadrature error bound," Math. Comp.
       67, 299-322 (1998).
    .. [2] G. J. Szekely and M. L. Rizzo, "Energy statistics," J. Stat. Plan. Inference 143,
       1249-1272 (2013).
    """
    to_tests = cdist(unit, feasible.test_unit)
    between = cdist(unit, unit)
    nearest = nearest_distances(between)
    seen, missing, infeasible = _pairs(feasible, levels, counts)
    inside = ~np.isnan(values).any(axis=1)
    return PlanQuality(
        points=len(unit),
        feasible_share=feasible.share,
        discrepancy=centred_discrepancy(unit),
        smallest_distance=float(pdist(unit).min(initial=np.inf)),
        chosen_distance=float(nearest[chosen].min(initial=np.inf)),
        mean_nearest=float(nearest.mean()) if len(unit) else float("inf"),
        energy=energy_distance(to_tests, between, inner_distance(feasible)),
        fill_radius=float(to_tests.min(axis=0).max()) if len(unit) else float("inf"),
        pairs=seen,
        missing_pairs=missing,
        infeasible_pairs=infeasible,
        triples=_triples(feasible, levels, len(counts)),
        projection_gaps=dict(zip(FACTORS, projection_gaps(unit), strict=True)),
        order_correlation=order_correlation(values[inside]),
    )


def nearest_distances(between: Floats) -> Floats:
    """Give the distance of each point to the nearest other.

    Parameters
    ----------
    between : ndarray
        Distances of the points to one another. [1]

    Returns
    -------
    ndarray
        One for each point; infinite for a point alone. [1]
    """
    apart = between.copy()
    np.fill_diagonal(apart, np.inf)
    return np.asarray(apart.min(axis=1, initial=np.inf))


def centred_discrepancy(unit: Floats) -> float:
    """Centred L2 discrepancy of points in the unit cube, squared.

    Parameters
    ----------
    unit : ndarray
        Coordinates in 0 to 1, a row for a point. [1]

    Returns
    -------
    float
        The squared discrepancy; infinite without points. [1]

    References
    ----------
    .. [1] F. J. Hickernell, "A generalized discrepancy and quadrature error bound," Math. Comp.
       67, 299-322 (1998).
    """
    return float(qmc.discrepancy(unit, method="CD")) if len(unit) else float("inf")


def energy_distance(to_set: Floats, between: Floats, inner: float) -> float:
    """Energy distance of points to a large set.

    Parameters
    ----------
    to_set : ndarray
        Distances of the points to the set, a row for a point. [1]
    between : ndarray
        Distances of the points to one another, zeros on the diagonal. [1]
    inner : float
        Mean distance of two points of the set. [1]

    Returns
    -------
    float
        The distance; infinite without points. [1]

    References
    ----------
    .. [1] G. J. Szekely and M. L. Rizzo, "Energy statistics," J. Stat. Plan. Inference 143,
       1249-1272 (2013).
    """
    if not len(to_set):
        return float("inf")
    return float(2 * to_set.mean() - between.mean() - inner)


def projection_gaps(unit: Floats) -> list[float]:
    """Widest empty interval of each coordinate, the ends of the span included.

    Parameters
    ----------
    unit : ndarray
        Coordinates in 0 to 1, a row for a point. [1]

    Returns
    -------
    list of float
        One for each coordinate. [1]
    """
    ends = np.vstack([np.zeros(unit.shape[1]), np.sort(unit, axis=0), np.ones(unit.shape[1])])
    return [float(gap) for gap in np.diff(ends, axis=0).max(axis=0)]


def level_words(counts: Sequence[int]) -> Mapping[str, tuple[str, ...]]:
    """Give the levels of factors, heater and load in words.

    Parameters
    ----------
    counts : sequence of int
        Numbers of wafers of the envelope, in rising order. [1]

    Returns
    -------
    mapping
        Words for the levels of each factor.
    """
    return dict.fromkeys(FACTORS, THIRDS) | {
        "heater": ("off", "on"),
        "wafers": tuple(str(count) for count in counts),
    }


def _pairs(
    feasible: FeasibleSet, levels: Ints, counts: Sequence[int]
) -> tuple[Seen, tuple[str, ...], tuple[str, ...]]:
    """Count pairs of levels; name those that no run shows, and those that cannot be."""
    possible = possible_pairs(feasible, len(counts))
    words = list(level_words(counts).items())
    seen, missing, infeasible = 0, list[str](), list[str]()
    for (g, (second, its)), (f, (first, own)) in itertools.combinations(enumerate(words), 2):
        shown = {(int(a), int(b)) for a, b in levels[:, [f, g]]}
        for a, b in itertools.product(range(len(own)), range(len(its))):
            name = f"{second} {its[b]} with {first} {own[a]}"
            if (a, b) in shown:
                seen += 1
            elif possible[f, g, a, b]:
                missing.append(name)
            elif len(own) > 1:
                infeasible.append(name)
    return Seen(seen, seen + len(missing)), tuple(missing), tuple(infeasible)


@lru_cache(maxsize=16)
def _feasible_triples(feasible: FeasibleSet, loads: int) -> tuple[NDArray[np.bool_], ...]:
    """Tell for every three factors which triples of levels exist."""
    levels = feasible.levels(np.concatenate([feasible.candidate_unit, feasible.test_unit]))
    sizes, many = [3] * len(FACTORS) + [2, loads], len(FACTORS)
    found = list[NDArray[np.bool_]]()
    for group in itertools.combinations(range(many + 2), 3):
        own = [f for f in group if f < many]
        code = np.ravel_multi_index(levels[:, own].T, [3] * len(own)) if own else np.array([0])
        exists = np.zeros(3 ** len(own), dtype=np.bool_)
        exists[np.unique(code)] = True
        shape = [sizes[f] for f in group]
        lead = exists.reshape([3] * len(own) + [1] * (3 - len(own)))
        found.append(np.broadcast_to(lead, shape).ravel())
    return tuple(found)


def _triples(feasible: FeasibleSet, levels: Ints, loads: int) -> Seen:
    sizes = [3] * len(FACTORS) + [2, loads]
    seen = total = 0
    groups = itertools.combinations(range(len(sizes)), 3)
    for group, exists in zip(groups, _feasible_triples(feasible, loads), strict=True):
        shown = np.zeros(len(exists), dtype=np.bool_)
        if len(levels):
            code = np.ravel_multi_index(levels[:, group].T, [sizes[f] for f in group])
            shown[code] = True
        seen += int(shown.sum())
        total += int((shown | exists).sum())
    return Seen(seen, total)
