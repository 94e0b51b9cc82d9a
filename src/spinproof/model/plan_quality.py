"""How good a plan is: measures, coverage, what it will take; plain values for page and paper."""

from dataclasses import dataclass

from spinproof.model.plan import Cell


@dataclass(frozen=True)
class Seen:
    """How many of the feasible combinations of levels a plan shows."""

    seen: int
    feasible: int

    def __str__(self) -> str:
        return f"{self.seen} of {self.feasible}"


@dataclass(frozen=True)
class PlanQuality:
    """How the recipes of a plan lie in what the envelope leaves.

    Attributes
    ----------
    points : int
        Number of different recipes measured. [1]
    feasible_share : float
        Share of the envelope's box that the constraints leave. [1]
    discrepancy : float
        Centred L2 discrepancy, squared, in the unit cube: lower is more even. [1]
    smallest_distance : float
        Smallest distance of two recipes in the unit cube: higher is better separated. [1]
    chosen_distance : float
        Smallest distance of a chosen recipe to any other; given ones lie as they lie. [1]
    mean_nearest : float
        Mean distance to the nearest other recipe. [1]
    energy : float
        Energy distance to the feasible set: lower is more like it. [1]
    fill_radius : float
        Largest distance of a feasible point to its nearest recipe: lower leaves less out. [1]
    pairs : Seen
        Pairs of levels of two factors.
    missing_pairs : tuple of str
        Feasible pairs that no run shows.
    infeasible_pairs : tuple of str
        Pairs that the constraints leave out; they are not counted.
    triples : Seen
        Triples of levels of three factors.
    projection_gaps : dict
        Widest empty interval of each factor, as a share of its span. [1]
    order_correlation : float
        Largest rank correlation of a factor with the order of the randomised runs. [1]
    """

    points: int
    feasible_share: float
    discrepancy: float
    smallest_distance: float
    chosen_distance: float
    mean_nearest: float
    energy: float
    fill_radius: float
    pairs: Seen
    missing_pairs: tuple[str, ...]
    infeasible_pairs: tuple[str, ...]
    triples: Seen
    projection_gaps: dict[str, float]
    order_correlation: float

    @property
    def projection_gap(self) -> float:
        """The widest empty interval of all factors."""
        return max(self.projection_gaps.values())


@dataclass(frozen=True)
class Compared:
    """The measures of a plan, or of as many points from an ordinary generator."""

    name: str
    quality: PlanQuality


@dataclass(frozen=True)
class PlanPoint:
    """A run in the unit cube."""

    number: int
    cell: Cell
    unit: tuple[float, ...]
    heated: bool
    wafers: int
    nearest: float
    """Distance to the nearest other recipe. [1]"""


@dataclass(frozen=True)
class PairCount:
    """How often each pair of levels of two factors is run."""

    first: str
    second: str
    counts: tuple[tuple[int, ...], ...]
    """A row for a level of the first factor, a column for a level of the second."""
    feasible: tuple[tuple[bool, ...], ...]


@dataclass(frozen=True)
class CoverageView:
    """A plan's points and how its levels meet, as plain values for plots."""

    factors: tuple[str, ...]
    lows: tuple[float, ...]
    highs: tuple[float, ...]
    levels: tuple[tuple[str, ...], ...]
    """What each level of each factor is, in words; heater and wafers come last."""
    points: tuple[PlanPoint, ...]
    pairs: tuple[PairCount, ...]
    fill_distances: tuple[float, ...]
    """Distance of feasible points to their nearest recipe, at 0, 5 ... 100 % of them. [1]"""


@dataclass(frozen=True)
class Along:
    """Sums from the first run to one run, and how warm drive and heater are at its end."""

    number: int
    begin_s: float
    end_s: float
    water_l: float
    nitrogen_m3: float
    drive: float
    """Share of the warmth that the duty limit means for ever. [1]"""
    heater: float
    """Share of the warmth of a heater that is always on. [1]"""


@dataclass(frozen=True)
class Odds:
    """What a plan's clean end takes if every run is good with the same probability."""

    reliability: float
    without_restart: float
    """Probability that all runs of the plan count at the first go. [1]"""
    expected_runs: float
    """Runs to expect until as many count in a row. [1]"""


@dataclass(frozen=True)
class Forecast:
    """What a plan will take."""

    process_time_s: float
    pauses_s: float
    water_l: float
    nitrogen_m3: float
    blocks: int
    along: tuple[Along, ...]
    odds: tuple[Odds, ...]

    @property
    def total_s(self) -> float:
        """Time of all runs with the pauses between them, in seconds."""
        return self.process_time_s + self.pauses_s
