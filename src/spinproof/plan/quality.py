"""How well a plan covers its region, in numbers that can be set beside other plans."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.distance import pdist
from scipy.stats import qmc

from spinproof.model.head import HeadSpec
from spinproof.model.plan import Cell, Plan
from spinproof.plan.region import Region

REFERENCE_SEEDS = range(9)


@dataclass(frozen=True)
class PlanQuality:
    """How the runs of a plan that are not the customer's lie in the envelope's box.

    Attributes
    ----------
    points : int
        Number of these runs. [1]
    feasible_share : float
        Share of the box that the constraints leave. [1]
    discrepancy : float
        Centred L2 discrepancy, squared, in the unit cube: lower is more even. [1]
    sobol_discrepancy : float
        The same for as many plain Sobol points with rejection, median of nine seeds. [1]
    smallest_distance : float
        Smallest distance of two runs, heater and load included: higher is better separated. [1]
    """

    points: int
    feasible_share: float
    discrepancy: float
    sobol_discrepancy: float
    smallest_distance: float


def plan_quality(plan: Plan, head: HeadSpec) -> PlanQuality:
    """Measure how a plan covers its region.

    The discrepancy refers to the whole box, so that constraints alone keep it above zero.

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
    region = Region(head)
    unit = region.to_unit(_points(plan))
    plain = [region.to_unit(region.sobol(seed)[0][: len(unit)]) for seed in REFERENCE_SEEDS]
    return PlanQuality(
        points=len(unit),
        feasible_share=plan.feasible_share,
        discrepancy=centred_discrepancy(unit),
        sobol_discrepancy=float(np.median([centred_discrepancy(points) for points in plain])),
        smallest_distance=float(pdist(np.hstack([unit, _levels(plan)])).min(initial=np.inf)),
    )


def centred_discrepancy(unit: NDArray[np.float64]) -> float:
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


def _levels(plan: Plan) -> NDArray[np.float64]:
    """Give heater and load of the runs that are not the customer's, scaled to 0 to 1."""
    runs = [run for run in plan.runs if run.cell is not Cell.CUSTOMER]
    counts = sorted({run.load.wafer_count for run in runs})
    rows = [
        [
            float(any(step.heater_c for step in run.recipe.steps)),
            counts.index(run.load.wafer_count) / max(len(counts) - 1, 1),
        ]
        for run in runs
    ]
    return np.array(rows, dtype=np.float64).reshape(len(rows), 2)


def _points(plan: Plan) -> NDArray[np.float64]:
    """Give the factors of the runs that are not the customer's, a row for a run."""
    recipes = [run.recipe for run in plan.runs if run.cell is not Cell.CUSTOMER]
    rows = [
        [
            rinse.speed_rpm,
            rinse.duration_s,
            purge.duration_s,
            fast.speed_rpm,
            fast.duration_s,
            final.speed_rpm,
            final.duration_s,
            rinse.ramp_rpm_per_s,
        ]
        for rinse, purge, fast, final in (recipe.steps for recipe in recipes)
    ]
    return np.array(rows, dtype=np.float64).reshape(len(rows), 8)
