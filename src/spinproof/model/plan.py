"""A burn-in plan: the ordered runs to make, and the claim they support."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from spinproof.model.load import Load
from spinproof.model.noun import Name, Noun
from spinproof.model.recipe import Recipe


class Cell(StrEnum):
    """Why a run is in the plan."""

    CUSTOMER = "customer's recipe"
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

    @property
    def process_time_s(self) -> float:
        """Sum of the recipes' times, in seconds."""
        return sum(run.recipe.process_time_s() for run in self.runs)
