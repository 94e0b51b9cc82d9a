"""What a calculator is: fields to fill in, a law to apply, results in words a bench can use."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import NoReturn

import numpy as np

from spinproof.model.calculation import Calculation
from spinproof.model.errors import OutOfRangeError
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Verdict
from spinproof.model.quantity import Dimension, units_of

SlotOf = tuple[int, int]
"""Cassette and slot, both counted from 1."""


class Kind(StrEnum):
    """What a field holds."""

    QUANTITY = "quantity"
    NUMBER = "number"
    CHOICE = "choice"
    SLOTS = "slots"
    ROWS = "rows"
    WORDS = "words"


@dataclass(frozen=True)
class Field:
    """One input that somebody fills in."""

    name: str
    label: str
    kind: Kind
    dimension: Dimension | None = None
    options: tuple[str, ...] = ()
    columns: tuple["Field", ...] = ()
    example: str = ""
    """What might be typed; for rows it stands in the columns, one line of text a row."""
    hint: str = ""
    required: bool = True
    uncertain: bool = False
    """Whether a standard uncertainty may be typed beside it, under its name and ``.u``."""
    explicit: bool = False
    """Whether a choice must be made, with none taken for granted."""

    @property
    def units(self) -> tuple[str, ...]:
        """Units that are accepted, the customary one first."""
        return units_of(self.dimension) if self.dimension else ()


def quantity(
    name: str,
    label: str,
    dimension: Dimension,
    example: str,
    hint: str = "",
    *,
    required: bool = True,
    uncertain: bool = False,
) -> Field:
    """Declare a field for a number with its unit."""
    return Field(
        name,
        label,
        Kind.QUANTITY,
        dimension,
        example=example,
        hint=hint,
        required=required,
        uncertain=uncertain,
    )


def number(name: str, label: str, example: str, hint: str = "", *, required: bool = True) -> Field:
    """Declare a field for a number that has no unit."""
    return Field(name, label, Kind.NUMBER, example=example, hint=hint, required=required)


def choice(
    name: str, label: str, options: tuple[str, ...], hint: str = "", *, explicit: bool = False
) -> Field:
    """Declare a field for one of several words, the first when nothing is chosen."""
    return Field(
        name,
        label,
        Kind.CHOICE,
        options=options,
        example="" if explicit else options[0],
        hint=hint,
        explicit=explicit,
    )


def words(name: str, label: str, example: str, hint: str = "") -> Field:
    """Declare a field for a name or a tag that may be left out."""
    return Field(name, label, Kind.WORDS, example=example, hint=hint, required=False)


def slots(name: str, label: str, example: str, hint: str = "") -> Field:
    """Declare a field for the loaded slots of each cassette."""
    return Field(name, label, Kind.SLOTS, example=example, hint=hint, required=False)


def rows(
    name: str,
    label: str,
    columns: tuple[Field, ...],
    example: tuple[tuple[str, ...], ...],
    hint: str = "",
    *,
    required: bool = True,
) -> Field:
    """Declare a table to fill in; the example has one tuple a row, in the order of columns."""
    filled = tuple(
        replace(column, example="\n".join(row[number] for row in example))
        for number, column in enumerate(columns)
    )
    return Field(name, label, Kind.ROWS, columns=filled, hint=hint, required=required)


Given = float | str | tuple[SlotOf, ...] | tuple["Inputs", ...]


@dataclass(frozen=True)
class Inputs:
    """What was filled in, in SI, by the names of the fields."""

    values: Mapping[str, Given]

    def number(self, name: str) -> float:
        """Give a quantity in SI, or a number."""
        value = self.values[name]
        assert isinstance(value, float)  # noqa: S101 - the reader made it so
        return value

    def maybe(self, name: str) -> float | None:
        """Give a quantity in SI that may be left out."""
        return self.number(name) if name in self.values else None

    def choice(self, name: str) -> str:
        """Give the word that was chosen."""
        return str(self.values[name])

    def slots(self, name: str) -> tuple[SlotOf, ...]:
        """Give the loaded slots, in order."""
        value = self.values.get(name, ())
        return tuple(each for each in value if isinstance(each, tuple))  # type: ignore[union-attr]  # slots are pairs

    def rows(self, name: str) -> tuple["Inputs", ...]:
        """Give the rows of a table."""
        value = self.values.get(name, ())
        assert isinstance(value, tuple)  # noqa: S101 - the reader made it so
        return tuple(each for each in value if isinstance(each, Inputs))

    def changed(self, path: str, value: float) -> "Inputs":
        """Give the same inputs with another number at a key such as "mass" or "runs.2.speed"."""
        name, _, rest = path.partition(".")
        if not rest:
            return Inputs({**self.values, name: value})
        place, _, column = rest.partition(".")
        table = list(self.rows(name))
        table[int(place) - 1] = table[int(place) - 1].changed(column, value)
        return Inputs({**self.values, name: tuple(table)})


@dataclass(frozen=True)
class Value:
    """A result that is a number."""

    name: str
    label: str
    si: float
    unit: str
    """In which it is shown."""
    uncertainty: float = 0.0
    """Standard uncertainty of the method, besides that of the inputs. [SI]"""
    low: float | None = None
    """Lower end of a bracket. [SI]"""
    high: float | None = None
    """Upper end of a bracket. [SI]"""
    note: str | None = None
    leads: bool = False


@dataclass(frozen=True)
class Words:
    """A result that is no number."""

    name: str
    label: str
    words: str
    verdict: Verdict | None = None
    note: str | None = None
    leads: bool = False


@dataclass(frozen=True)
class Answer:
    """What a law gives for some inputs."""

    results: tuple[Value | Words, ...]
    warnings: tuple[str, ...] = ()
    """What about the inputs lies at the edge of the method."""


def cannot_say(what: str, mend: str, where: str = "inputs") -> NoReturn:
    """Refuse inputs that leave nothing to say.

    Parameters
    ----------
    what : str
        What is missing or wrong, as a clause.
    mend : str
        What to give, as a sentence.
    where : str
        The part of the inputs it is about.

    Raises
    ------
    OutOfRangeError
        Always.
    """
    raise OutOfRangeError(what, where=where, mend=mend, mask=np.array([True]))


@dataclass(frozen=True)
class Calculator:
    """One calculator of the bench."""

    name: str
    title: str
    task: str
    """What it answers, in a sentence."""
    fields: tuple[Field, ...]
    compute: Callable[[Inputs], Answer]
    formula: tuple[str, ...]
    model_error: str
    """How far the method itself may be off."""
    sources: tuple[str, ...]
    cautions: tuple[str, ...]
    draw: Callable[[Inputs], str] | None = None
    """Draws the answer as an SVG text."""
    from_head: Callable[[HeadSpec], Mapping[str, str]] | None = None
    """Fills in fields from what is known of a head."""
    from_kept: Callable[[str, tuple[Calculation, ...]], Mapping[str, str]] | None = None
    """Fills in fields from earlier calculations of the part that is named, in order."""
    board: Callable[[Mapping[str, str]], tuple[int, int]] | None = None
    """Gives cassettes and slots each, for tapping slots, from what is typed so far."""

    @property
    def example(self) -> dict[str, str]:
        """An example of every field, by key, as somebody would type it."""
        return dict(_examples(self.fields))


def _examples(fields: tuple[Field, ...]) -> Iterator[tuple[str, str]]:
    for field in fields:
        if field.kind is not Kind.ROWS:
            if field.example:
                yield field.name, field.example
            continue
        for column in field.columns:
            for place, text in enumerate(column.example.split("\n"), start=1):
                if text:
                    yield f"{field.name}.{place}.{column.name}", text
