"""From what was typed to the inputs of a calculator: units demanded, nothing guessed."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from spinproof.app.calculators.calculator import Calculator, Field, Given, Inputs, Kind
from spinproof.app.calculators.slots import read_slots
from spinproof.model.calculation import TypedInput
from spinproof.model.errors import DocumentError, SpinproofError, UnitError
from spinproof.model.quantity import BASES, Dimension, parse_quantity

MOST_ROWS = 60
"""Rows of a table that are taken."""
LONGEST = 1000
"""Characters of an input that are taken."""
SIGNED = {
    Dimension.ANGLE,
    Dimension.RAMP,
    Dimension.TEMPERATURE_DIFFERENCE,
    Dimension.GAUGE_PRESSURE,
}
"""Dimensions whose quantities may lie below zero; temperatures count from absolute zero."""
UNCERTAINTY = ".u"
"""What follows a field's name in the key of its standard uncertainty."""
_PLAIN = re.compile("[+\N{MINUS SIGN}-]?[0-9]+([.,][0-9]+)?([eE][+-]?[0-9]+)?")


class InputsError(DocumentError):
    """Inputs of a calculator cannot be taken; each has its own sentence."""

    def __init__(self, calculator: str, fields: Mapping[str, str]) -> None:
        said = "; ".join(f"{name}: {text.rstrip('.')}" for name, text in fields.items())
        super().__init__(
            said[:1] + said[1:],
            where=f"calculator {calculator}",
            mend="Write each number with its unit, as the example of the calculator shows.",
        )
        self.fields = dict(fields)


@dataclass
class Reading:
    """Inputs as they were understood."""

    values: dict[str, Given] = field(default_factory=dict)
    given: list[TypedInput] = field(default_factory=list)
    spreads: dict[str, float] = field(default_factory=dict)
    """Standard uncertainties by key. [SI]"""
    labels: dict[str, str] = field(default_factory=dict)
    """Labels of the inputs that have one."""
    problems: dict[str, str] = field(default_factory=dict)

    @property
    def inputs(self) -> Inputs:
        """The inputs for the law."""
        return Inputs(self.values)


def read_inputs(calculator: Calculator, typed: Mapping[str, str]) -> Reading:
    """Read what was typed.

    Parameters
    ----------
    calculator : Calculator
        Whose fields they are.
    typed : mapping of str to str
        Text by key: a field's name, ``name.u`` for its standard uncertainty, ``name.2.column`` for
        a cell of the second row of a table.

    Returns
    -------
    Reading
        The inputs in SI beside what was typed.

    Raises
    ------
    InputsError
        If a field is missing, unknown, without its unit, or cannot be read.
    """
    texts = {key: text.strip() for key, text in typed.items() if text.strip()}
    reading = Reading()
    left = set(texts)
    for key, text in texts.items():
        if len(text) > LONGEST:
            reading.problems[key] = f"At most {LONGEST} characters are taken."
    for each in calculator.fields:
        if each.kind is Kind.ROWS:
            left -= _read_rows(each, texts, reading)
        else:
            left -= {each.name, each.name + UNCERTAINTY}
            _read_field(each, each.name, each.label, texts, reading, reading.values)
    known = ", ".join(each.name for each in calculator.fields)
    for key in sorted(left):
        reading.problems[key] = f"The calculator has no such input. It has: {known}."
    if reading.problems:
        raise InputsError(calculator.name, reading.problems)
    return reading


def _read_field(
    each: Field,
    key: str,
    label: str,
    texts: Mapping[str, str],
    reading: Reading,
    into: dict[str, Given],
) -> None:
    text = texts.get(key, "")
    if not text and each.kind is Kind.CHOICE and not each.explicit:
        text = each.options[0]
    if not text:
        if each.required:
            reading.problems[key] = _missing(each)
        return
    try:
        value = _value(each, key, text)
    except SpinproofError as error:
        reading.problems[key] = _said(error)
        return
    into[each.name] = value
    spread = _spread(each, key, value, texts, reading)
    if spread is not None:
        reading.spreads[key], reading.labels[key] = spread, label
    reading.given.append(_typed_input(each, key, label, text, value, spread))
    if spread is not None:
        written = texts[key + UNCERTAINTY]
        name = f"{label}: standard uncertainty"
        reading.given.append(TypedInput(name=key + UNCERTAINTY, label=name, typed=written))


def _missing(each: Field) -> str:
    if each.options:
        return f"Choose one of: {', '.join(each.options)}."
    units = f", with its unit: {', '.join(each.units)}" if each.units else ""
    return f"Fill this in{units}."


def _typed_input(
    each: Field, key: str, label: str, text: str, value: Given, spread: float | None
) -> TypedInput:
    is_number = isinstance(value, float)
    unit = (BASES[each.dimension] if each.dimension else "1") if is_number else None
    return TypedInput(
        name=key,
        label=label,
        typed=text,
        si=value if isinstance(value, float) else None,
        si_unit=unit,
        standard_uncertainty=spread,
    )


def _read_rows(table: Field, texts: Mapping[str, str], reading: Reading) -> set[str]:
    """Read a table; gives the keys that belong to it."""
    columns = {column.name: column for column in table.columns}
    cells: dict[int, dict[str, str]] = {}
    taken = set()
    for key, text in texts.items():
        name, _, rest = key.partition(".")
        place, _, column = rest.partition(".")
        own = column.removesuffix(UNCERTAINTY) in columns
        if name == table.name and own and place.isascii() and place.isdecimal() and int(place):
            cells.setdefault(int(place), {})[column] = text
            taken.add(key)
    if len(cells) > MOST_ROWS:
        reading.problems[table.name] = f"At most {MOST_ROWS} rows are taken."
        return taken
    if not cells and table.required:
        reading.problems[table.name] = f"Fill in at least one row: {', '.join(columns)}."
    found = []
    for row, filled in enumerate((cells[place] for place in sorted(cells)), start=1):
        values: dict[str, Given] = {}
        shown = {f"{table.name}.{row}.{name}": text for name, text in filled.items()}
        for column_ in table.columns:
            label = f"{table.label}, row {row}: {column_.label}"
            key = f"{table.name}.{row}.{column_.name}"
            _read_field(column_, key, label, shown, reading, values)
        found.append(Inputs(values))
    reading.values[table.name] = tuple(found)
    return taken


def _value(each: Field, key: str, text: str) -> Given:
    """Read the text of a field.

    Raises
    ------
    UnitError
        If it is no number, or none of the field's dimension.
    DocumentError
        If it is none of the choices, or names no slots.
    """
    if each.kind is Kind.QUANTITY and each.dimension is not None:
        value = float(parse_quantity(text, each.dimension, where=key).base)
        if value < 0 and each.dimension not in SIGNED:
            raise UnitError(
                f"{text} is below zero", where=key, mend=f"Give a {each.dimension} of zero or more."
            )
        return value
    if each.kind is Kind.NUMBER:
        if not _PLAIN.fullmatch(text):
            raise UnitError(
                f'"{text}" is no plain number', where=key, mend="Write a number without a unit."
            )
        return float(parse_quantity(f"{text} %", Dimension.RATIO, where=key).value)
    if each.kind is Kind.SLOTS:
        return read_slots(text, key)
    if each.kind is Kind.WORDS:
        return " ".join(text.split())
    if text not in each.options:
        raise DocumentError(
            f'"{text}" is no choice', where=key, mend=f"Choose one of: {', '.join(each.options)}."
        )
    return text


def _spread(
    each: Field, key: str, value: Given, texts: Mapping[str, str], reading: Reading
) -> float | None:
    """Read the standard uncertainty that stands beside a field: with its unit, or in percent."""
    text = texts.get(key + UNCERTAINTY, "")
    if not text:
        return None
    place = key + UNCERTAINTY
    if not each.uncertain or each.dimension is None or not isinstance(value, float):
        reading.problems[place] = "No uncertainty is taken for this input."
        return None
    try:
        if text.endswith("%") and each.dimension not in {Dimension.RATIO, Dimension.TEMPERATURE}:
            spread = abs(value) * parse_quantity(text, Dimension.RATIO, where=place).base
        else:
            dimension = each.dimension
            if dimension is Dimension.TEMPERATURE:
                dimension = Dimension.TEMPERATURE_DIFFERENCE
            spread = float(parse_quantity(text, dimension, where=place).base)
    except UnitError as error:
        reading.problems[place] = _said(error)
        return None
    if spread < 0:
        reading.problems[place] = "A standard uncertainty is zero or more."
        return None
    return spread


def _said(error: SpinproofError) -> str:
    return f"{error.what[:1].upper()}{error.what[1:]}. {error.mend}"
