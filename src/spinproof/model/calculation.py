"""A calculation at the bench, as it is kept: what was typed, what came out, by which law."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.judgement import Verdict
from spinproof.model.noun import Name, NotNegative, Noun
from spinproof.model.quantity import UnitSymbol

Sentence = Annotated[str, Field(min_length=1, max_length=2000)]


class TypedInput(Noun):
    """One input, as somebody typed it and as it was understood."""

    name: Name
    """Its key, for example "mass", or "readings.2.speed" for a cell of a table."""
    label: Sentence
    typed: Annotated[str, Field(max_length=2000)]
    """Text as typed, with its unit."""
    si: float | None = None
    """Value in SI; absent for a choice or a set of slots."""
    si_unit: str | None = None
    """Unit of ``si``."""
    standard_uncertainty: NotNegative | None = None
    """As typed, in SI."""


class Share(Noun):
    """How much of a result's variance comes from one input."""

    label: Sentence
    share: Annotated[float, Field(ge=0, le=1)]


class Result(Noun):
    """One result: a value with its unit, or words."""

    name: Name
    label: Sentence
    value: float | None = None
    unit: UnitSymbol | None = None
    standard_uncertainty: NotNegative | None = None
    """From the inputs and the method, as far as they are known. [unit]"""
    low: float | None = None
    high: float | None = None
    """Ends of a bracket or interval, where the method gives one. [unit]"""
    words: Sentence | None = None
    """What a result says that is no number."""
    verdict: Verdict | None = None
    """Where the result decides on a limit."""
    note: Sentence | None = None
    leads: bool = False
    """Whether it is what was asked for, and stands first."""
    shares: Annotated[tuple[Share, ...], Field(strict=False)] = ()
    """Where the uncertainty comes from, the largest share first."""

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if (self.value is None) is (self.words is None):
            msg = "a result is either a value or words"
            raise ValueError(msg)
        if (self.value is None) is not (self.unit is None):
            msg = "a value stands with its unit"
            raise ValueError(msg)
        return self


class Calculation(Noun):
    """A calculation with everything that it needs to be done again."""

    calculator: Name
    title: Sentence
    inputs: Annotated[tuple[TypedInput, ...], Field(strict=False)]
    results: Annotated[tuple[Result, ...], Field(min_length=1, strict=False)]
    warnings: Annotated[tuple[Sentence, ...], Field(strict=False)] = ()
    """What about these inputs lies at the edge of the method, or beyond."""
    cautions: Annotated[tuple[Sentence, ...], Field(strict=False)] = ()
    """What must be kept in mind whatever the numbers are."""
    formula: Annotated[tuple[Sentence, ...], Field(min_length=1, strict=False)]
    model_error: Sentence
    """How far the method itself may be off, as stated by its source or by its assumptions."""
    sources: Annotated[tuple[Sentence, ...], Field(min_length=1, strict=False)]
    software: Name

    @property
    def typed(self) -> dict[str, str]:
        """What was typed, by key: enough to calculate again."""
        return {each.name: each.typed for each in self.inputs}
