"""A judgement: what a run showed, and whether it counts."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from spinproof.model.limit import Limit
from spinproof.model.noun import Name, NotNegative, Noun
from spinproof.model.recipe import StepKind
from spinproof.model.run import Ending, Incident, Outcome

_LATER = Field(exclude_if=lambda value: value is None)
"""A field that earlier judgements do not have: left out when empty, their bytes stay the same."""


class Verdict(StrEnum):
    """What a limit says about a metric. Never a silent pass."""

    PASS = "pass"  # noqa: S105 - a verdict, no password
    FAIL = "fail"
    UNDECIDED = "undecided"
    """The uncertainty interval straddles the limit."""
    NOT_MEASURED = "not measured"


class Segment(Noun):
    """The part of a trace in which one step ran."""

    step: Annotated[int, Field(ge=1)]
    """Number of the step in the recipe, counted from 1."""
    name: Name
    kind: StepKind
    start_s: float
    end_s: float
    at_speed_s: float | None = None
    """When the rotor first stayed in the step's speed band, or absent when it never did. [s]"""


class Event(Noun):
    """Something that happened at one moment of a run."""

    name: Name
    """For example "stop command", "index proven", "seal vented", "door released"."""
    time_s: float
    uncertainty_s: NotNegative = 0.0
    """Largest error of the moment, from sampling and latency. [s]"""


class Metric(Noun):
    """One number that a run showed, beside its limit."""

    name: Name
    unit: Annotated[str, Field(min_length=1)]
    step: int | None = None
    """Number of the step it belongs to, or absent for the run as a whole."""
    value: float | None = None
    """The number, or absent when it could not be measured."""
    uncertainty: NotNegative | None = None
    """Standard uncertainty of the value, in the same unit."""
    limit: Limit | None = None
    verdict: Verdict | None = None
    """Absent when no limit is set."""
    conformance: Annotated[float, Field(ge=0, le=1)] | None = None
    """Probability that the true value lies inside the limit."""
    rule: str | None = None
    """The decision rule in words."""
    margin: Annotated[float | None, _LATER] = None
    """Distance to the nearest limit, negative outside, in the metric's unit."""
    remark: Annotated[str | None, _LATER] = None
    """What must be printed as well when the uncertainty is large beside the tolerance."""
    note: str | None = None
    """Why it could not be measured, or what the reader should know."""


class Judgement(Noun):
    """What a run showed, whether it counts, and everything the verdicts were made from."""

    schema_version: Annotated[str, Field(pattern="^spinproof.judgement.v1$")] = (
        "spinproof.judgement.v1"
    )
    run: Name
    trace_sha256: str
    recipe_sha256: str
    head_sha256: str
    limits_sha256: str
    limits_name: str
    software: Name
    """Name and version of the code that judged."""
    simulated: bool
    ending: Ending
    segments: Annotated[tuple[Segment, ...], Field(strict=False)]
    events: Annotated[tuple[Event, ...], Field(strict=False)]
    metrics: Annotated[tuple[Metric, ...], Field(strict=False)]
    incidents: Annotated[tuple[Incident, ...], Field(strict=False)]
    outcome: Outcome
    """Counted, relevant failure, invalid (operator) or aborted. An outside cause is never
    decided here: it needs evidence and a second name."""
    reasons: Annotated[tuple[str, ...], Field(strict=False)]
    """Why, in plain words; for a counted run, what was found in order."""
    outside_cause: str | None = None
    """What in the trace points to a cause outside the head, if anything does."""

    def metric(self, name: str, step: int | None = None) -> Metric | None:
        """Give one metric by name and step."""
        for metric in self.metrics:
            if metric.name == name and metric.step == step:
                return metric
        return None
