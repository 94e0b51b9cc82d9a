"""A burn-in plan: the ordered runs to make, and the claim they support."""

from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from spinproof.model.load import Load
from spinproof.model.noun import Name, NotNegative, Noun, Positive
from spinproof.model.recipe import Recipe

Factor = Literal[
    "rinse_rpm",
    "rinse_s",
    "purge_s",
    "fast_dry_rpm",
    "fast_dry_s",
    "final_dry_rpm",
    "final_dry_s",
    "ramp_rpm_per_s",
]
"""A continuous factor of a planned recipe, as the envelope names it."""


class Cell(StrEnum):
    """Why a run is in the plan."""

    CUSTOMER = "customer's recipe"
    LADDER = "gentle ladder"
    CORNER = "corner of the envelope"
    FILL = "inside the envelope"


class PlannedRun(Noun):
    """One run to make."""

    number: Annotated[int, Field(ge=1)]
    cell: Cell
    recipe: Recipe
    load: Load
    note: str | None = None
    """What the operator should know before this run."""
    block: Annotated[int, Field(ge=1)] = 1
    """The shift in which the run is meant to be made."""
    pause_s: NotNegative = 0.0
    """How long drive and heater cool before the run, beyond the usual turnaround. [s]"""
    pinned: bool = False
    """Whether the run stays as it is when the plan is made again."""


class Budgets(Noun):
    """What a plan may use up, and how runs follow one another."""

    time_h: Positive | None = None
    """Time of all runs with the pauses between them. [h]"""
    water_l: Positive | None = None
    """DI water of all runs at the head's nominal flow. [L]"""
    nitrogen_m3: Positive | None = None
    """Nitrogen of all runs at the head's nominal flow. [m3 at 0 degC and 101.325 kPa]"""
    turnaround_s: NotNegative = 180.0
    """Usual pause between two runs, to unload and load. [s]"""
    shift_h: Positive = 8.0
    """Length of a shift; the runs of one shift are a block. [h]"""
    thermal_time_constant_s: Positive = 1800.0
    """How slowly drive and heater warm and cool. [s]"""
    thermal_ceiling: Annotated[float, Field(gt=0, le=1)] = 0.9
    """Highest warmth of the drive, as a share of what its duty limit means for ever. [1]"""


class Bound(Noun):
    """An interval of one factor, in the unit that its name tells."""

    factor: Factor
    low: NotNegative
    high: NotNegative

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.high < self.low:
            msg = f"high ({self.high:g}) must not be below low ({self.low:g})"
            raise ValueError(msg)
        return self


class Ban(Noun):
    """A part of the envelope that the plan keeps out of: inside all bounds at once."""

    name: Name
    bounds: Annotated[tuple[Bound, ...], Field(min_length=1, strict=False)]


class Asked(Noun):
    """What a plan was asked to hold; kept with it, so that it can be made again."""

    customer: Annotated[tuple[Recipe, ...], Field(strict=False)] = ()
    customer_load: Load
    """Load of the customer's recipes; its wafers serve for the other loads too."""
    customer_runs: int
    corner_runs: int
    ladder_runs: int = 0
    total_runs: int
    budgets: Budgets = Budgets()
    bans: Annotated[tuple[Ban, ...], Field(strict=False)] = ()


class Plan(Noun):
    """Ordered runs inside a head's envelope."""

    schema_version: Annotated[str, Field(pattern="^spinproof.plan.v1$")] = "spinproof.plan.v1"
    name: Name
    head: Name
    head_sha256: str
    seed: Annotated[int, Field(ge=0)]
    software: Name
    feasible_share: Annotated[float, Field(ge=0, le=1)]
    """Share of the envelope's box that its constraints leave."""
    runs: Annotated[tuple[PlannedRun, ...], Field(min_length=1, strict=False)]
    confidence: Annotated[float, Field(gt=0, lt=1)] = 0.95
    reliability_if_clean: Annotated[float, Field(gt=0, lt=1)]
    """Lower bound on the probability of a good run, if every planned run counts."""
    restart_rule: str
    """What happens to the count after a change or a failure."""
    asked: Asked | None = None
    """What the plan was asked to hold; none in plans of earlier versions."""
    edits: Annotated[tuple[str, ...], Field(strict=False)] = ()
    """What was changed by hand since the plan was made, oldest first."""
    derived_from: str | None = None
    """SHA-256 of the plan that was edited, or none."""

    @property
    def process_time_s(self) -> float:
        """Sum of the recipes' times, in seconds."""
        return sum(run.recipe.process_time_s() for run in self.runs)
