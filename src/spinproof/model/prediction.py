"""What a recipe will do on a head, and which recipes are worth a try: always with intervals."""

from typing import Annotated

from pydantic import Field

from spinproof.model.noun import Noun
from spinproof.model.recipe import Recipe

Floats = Annotated[tuple[float, ...], Field(strict=False)]
Texts = Annotated[tuple[str, ...], Field(strict=False)]


class Estimate(Noun):
    """A predicted number with its 95 % interval."""

    label: str
    unit: str
    median: float
    low: float
    high: float
    censored: bool = False
    """Whether the upper end lies beyond the time looked ahead: "more than"."""


class Band(Noun):
    """A predicted course: median and 95 % interval at each moment."""

    label: str
    unit: str
    time_s: Floats
    median: Floats
    low: Floats
    high: Floats


class Odds(Noun):
    """A probability with what it is the probability of."""

    label: str
    probability: float
    numerical_uncertainty: float
    """Standard uncertainty from the number of draws alone."""


class Influence(Noun):
    """How much of the spread of the dry time one parameter explains."""

    parameter: str
    label: str
    origin: str
    first: float
    """First-order index: what would vanish, on average, were it known. [1]"""
    total: float
    """Total index: what would stay, were all others known. [1]"""
    error: float
    """Standard uncertainty of the total index, from the number of draws. [1]"""


class Prediction(Noun):
    """What a recipe will do on a head."""

    schema_version: Annotated[str, Field(pattern="^spinproof.prediction.v1$")] = (
        "spinproof.prediction.v1"
    )
    head: str
    recipe: Recipe
    wafers: int
    draws: int
    seed: int
    simulated: bool
    """Whether the model behind it stands on simulated runs."""
    process_time_s: float
    dry_time: Estimate | None
    """Time from the start of the recipe until the hold-up is dry, while the last step goes on;
    absent when the recipe has no drying to speak of."""
    estimates: Annotated[tuple[Estimate, ...], Field(strict=False)]
    """Film, hold-up, drain, utilities, stress and acceleration."""
    odds: Annotated[tuple[Odds, ...], Field(strict=False)]
    bands: Annotated[tuple[Band, ...], Field(strict=False)]
    influences: Annotated[tuple[Influence, ...], Field(strict=False)]
    calibrate_first: Texts
    """Parameters whose prior rules the answer, with the measurement that would tell."""
    cautions: Texts
    software: str


class Candidate(Noun):
    """A recipe on the trade-off front."""

    recipe: Recipe
    best_at: Texts
    """Goals at which no other recipe of the front is better; often none."""
    process_time_s: float
    dry: Odds
    residual_g: Estimate
    dry_time: Estimate
    cost: Estimate


class Advice(Noun):
    """Recipes inside an envelope among which none is better in every way."""

    schema_version: Annotated[str, Field(pattern="^spinproof.advice.v1$")] = "spinproof.advice.v1"
    head: str
    wafers: int
    tried: int
    """Recipes inside the envelope that were computed."""
    draws: int
    seed: int
    simulated: bool
    cost_unit: str
    front: Annotated[tuple[Candidate, ...], Field(strict=False)]
    """By rising process time."""
    calibrate_first: Texts
    cautions: Texts
    software: str
