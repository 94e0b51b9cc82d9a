"""From what was typed to a noun: numbers, lines, and errors at the fields they belong to."""

import re
from collections.abc import Callable, Mapping
from typing import TypeVar

from pydantic import ValidationError

from spinproof.model.errors import UnitError
from spinproof.model.noun import Noun
from spinproof.model.quantity import Dimension, parse_quantity
from spinproof.web.forms import FieldError, at_field, sentence

N = TypeVar("N", bound=Noun)
PLAIN = re.compile("[+\N{MINUS SIGN}-]?[0-9]+([.,][0-9]+)?([eE][+-]?[0-9]+)?")


def number(field: str, text: str) -> float:
    """Read a number whose unit stands beside its field.

    Parameters
    ----------
    field : str
        The field.
    text : str
        What was typed in it; point and comma both mark decimals.

    Returns
    -------
    float
        The number, in the unit beside the field.

    Raises
    ------
    FieldError
        If it is no plain number, or can be read in two ways.
    """
    plain = text.strip()
    if not PLAIN.fullmatch(plain):
        raise FieldError({field: "Write a number alone; its unit stands beside the field."})
    with at_field(field, UnitError):
        return parse_quantity(f"{plain} %", Dimension.RATIO, where=field).value  # any unit does


def number_or_none(field: str, text: str) -> float | None:
    """Read a number whose field may stay empty."""
    return number(field, text) if text.strip() else None


def lines_of(text: str) -> tuple[str, ...]:
    """Give the lines that say something."""
    return tuple(line.strip() for line in text.splitlines() if line.strip())


def made(make: Callable[[], N], fields: Mapping[str, str], rest: str) -> N:
    """Make a noun; what it refuses comes to stand beside the field that was typed.

    Parameters
    ----------
    make : callable
        Makes it.
    fields : mapping of str to str
        Names of fields of the form, by those of the noun, where they differ.
    rest : str
        The field beside which the rest stands.

    Returns
    -------
    Noun
        The noun.

    Raises
    ------
    FieldError
        If the noun refuses a value.
    """
    try:
        return make()
    except ValidationError as error:
        found = error.errors(include_url=False, include_input=False)
        raise FieldError({_field(one["loc"], fields, rest): _said(one) for one in found}) from None


def _field(place: tuple[int | str, ...], fields: Mapping[str, str], rest: str) -> str:
    name = str(place[0]) if place else rest
    return fields.get(name, name)


def _said(found: object) -> str:
    text = sentence(found)  # type: ignore[arg-type]  # one entry of pydantic's list
    return text.removeprefix("Value error, ")
