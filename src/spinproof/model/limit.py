"""Limits: acceptance intervals with a unit, a basis and a decision rule."""

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.noun import Name, Noun
from spinproof.model.recipe import StepKind


class Basis(StrEnum):
    """Where a limit comes from."""

    STANDARD = "standard"
    CUSTOMER = "customer"
    SHOP_RULE = "shop-rule"
    COMMON_PRACTICE = "common-practice"


class DecisionRule(StrEnum):
    """How uncertainty enters a verdict."""

    GUARDED = "guarded"
    """Accept only inside the limit by 1.645 standard uncertainties: 5 % risk at the limit."""
    GUARDED_BY_U = "guarded-by-U"
    """Accept only inside the limit by the expanded uncertainty U = 2 u: 2.3 % risk at the limit."""
    BY_RISK = "by-risk"
    """Accept when the true value lies inside the limit with a probability of 95 %."""
    SIMPLE = "simple"
    """Accept inside the limit; both parties share the risk."""


class Limit(Noun):
    """An acceptance interval for one metric."""

    metric: Name
    """Name of the metric, as the judge's metrics are named in ``docs/metrics.md``."""
    step_kind: StepKind | None = None
    """Restricts the limit to steps of one kind."""
    lower: float | None = None
    upper: float | None = None
    unit: Annotated[str, Field(min_length=1)]
    rule: DecisionRule = DecisionRule.GUARDED
    basis: Basis
    source: Name
    """The standard with its edition, the customer's document or the shop rule."""
    counts: bool = True
    """Whether a run must pass this limit in order to be counted."""

    @model_validator(mode="after")
    def _bounded(self) -> Self:
        if self.lower is None and self.upper is None:
            msg = "a limit needs lower, upper or both"
            raise ValueError(msg)
        if self.lower is not None and self.upper is not None and self.lower > self.upper:
            msg = f"lower ({self.lower:g}) lies above upper ({self.upper:g})"
            raise ValueError(msg)
        return self


class LimitSet(Noun):
    """A versioned set of limits; never edited once used, only superseded."""

    name: Name
    revision: Annotated[int, Field(ge=1)] = 1
    limits: Annotated[tuple[Limit, ...], Field(min_length=1, strict=False)]

    def for_metric(self, metric: str, kind: StepKind | None) -> Limit | None:
        """Give the limit for a metric in a step of some kind; the narrower one wins."""
        fitting = [
            limit
            for limit in self.limits
            if limit.metric == metric and limit.step_kind in {None, kind}
        ]
        return max(fitting, key=lambda limit: limit.step_kind is not None, default=None)

    @model_validator(mode="after")
    def _unique(self) -> Self:
        keys = [(limit.metric, limit.step_kind) for limit in self.limits]
        twice = sorted({metric for metric, kind in keys if keys.count((metric, kind)) > 1})
        if twice:
            msg = f"two limits for the same metric and step kind: {', '.join(twice)}"
            raise ValueError(msg)
        return self
