"""A recipe and its steps."""

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.noun import Name, NotNegative, Noun, Positive


class StepKind(StrEnum):
    """What a step is for."""

    RINSE = "rinse"
    PURGE = "purge"
    DRY = "dry"


class TimerBasis(StrEnum):
    """When the timer of a step starts."""

    FROM_COMMAND = "from-command"
    """At the moment the step is entered: the ramp is part of the duration."""
    FROM_AT_SPEED = "from-at-speed"
    """When the rotor has reached the step's speed: the ramp comes on top."""


class RecipeSource(StrEnum):
    """Who wrote a recipe."""

    CUSTOMER = "customer"
    SHOP = "shop"


class Step(Noun):
    """One step of a recipe."""

    name: Name
    """What the step is called on sheets and charts, for example "fast dry"."""
    kind: StepKind
    """rinse, purge or dry."""
    duration_s: Positive
    """Duration by the step's own timer basis. [s]"""
    speed_rpm: NotNegative
    """Speed set-point of the rotor. [rpm]"""
    ramp_rpm_per_s: Positive
    """Rate at which the set-point approaches the step's speed, up or down. [rpm/s]"""
    timer_basis: TimerBasis
    """from-command or from-at-speed."""
    water: bool = False
    """Whether DI water sprays during the step."""
    nitrogen: bool = False
    """Whether nitrogen flows during the step."""
    heater_c: Annotated[float, Field(ge=0, le=150)] | None = None
    """Set-point of the nitrogen heater, or absent when the heater is off. [degC]"""
    end_resistivity_mohm_cm: Positive | None = None
    """Drain resistivity, compensated to 25 degC, that the rinse must reach by its end. [MOhm cm]"""

    @model_validator(mode="after")
    def _heater_needs_nitrogen(self) -> Self:
        if self.heater_c is not None and not self.nitrogen:
            msg = "heater_c needs nitrogen = true: an element without flow burns out"
            raise ValueError(msg)
        if self.end_resistivity_mohm_cm is not None and not self.water:
            msg = "end_resistivity_mohm_cm needs water = true: a dry drain has no resistivity"
            raise ValueError(msg)
        return self


class Recipe(Noun):
    """Ordered steps that a head executes between start and stop."""

    name: Name
    """Neutral name; never a customer's product."""
    revision: Annotated[int, Field(ge=1)] = 1
    """Revision, counted from 1."""
    source: RecipeSource = RecipeSource.SHOP
    """customer or shop."""
    steps: Annotated[tuple[Step, ...], Field(min_length=1, max_length=20, strict=False)]
    """The steps in order."""

    @property
    def top_speed_rpm(self) -> float:
        """Highest set-point of all steps, in rpm."""
        return max(step.speed_rpm for step in self.steps)

    def process_time_s(self) -> float:
        """Sum of the durations in seconds, with the ramps that come on top by their timer basis."""
        total, speed = 0.0, 0.0
        for step in self.steps:
            total += step.duration_s
            if step.timer_basis is TimerBasis.FROM_AT_SPEED:
                total += abs(step.speed_rpm - speed) / step.ramp_rpm_per_s
            speed = step.speed_rpm
        return total
