"""Calculations at the bench: made, kept with the job, and made again."""

import json
import math
import re
import threading
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from spinproof.app.calculators.calculator import (
    Answer,
    Calculator,
    Inputs,
    Value,
    Words,
    cannot_say,
)
from spinproof.app.calculators.reading import read_inputs
from spinproof.app.calculators.registry import CALCULATORS
from spinproof.app.calculators.spreading import Spreader
from spinproof.app.clock import utc_now
from spinproof.files.durable import write_durably
from spinproof.ledger.entries import UnitKind
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.shop_entries import CalculationEntry
from spinproof.model.calculation import Calculation, Result
from spinproof.model.errors import OutOfRangeError, RecordError
from spinproof.model.head import HeadSpec
from spinproof.model.quantity import UNITS
from spinproof.model.software import SOFTWARE

SAME = 1e-9
"""Relative difference up to which a result made again is the same; machines round differently."""


CHECK_SIZES = "Check the size of each input, and its unit."
_BEYOND = re.compile(r"(?P<law>\w+): \d+ of \d+ inputs are beyond (?P<known>.+)")
_alone = threading.Lock()
"""What a law warns of is caught for the whole program: one calculation at a time listens."""


@dataclass(frozen=True)
class Place:
    """A job, or a head of it, that a calculation can be kept with."""

    name: str
    """Job, or designation of the head."""
    words: str


@dataclass(frozen=True)
class Kept:
    """A calculation on record, and what comes out when it is made again now."""

    entry: CalculationEntry
    differences: tuple[str, ...]
    """What comes out otherwise, in sentences; none when it is the same."""


def calculator_named(name: str) -> Calculator:
    """Give a calculator.

    Raises
    ------
    RecordError
        If there is none of this name.
    """
    found = CALCULATORS.get(name)
    if found is None:
        raise RecordError(
            "there is no such calculator",
            where=f"calculator {name}",
            mend=f"Choose one of: {', '.join(CALCULATORS)}.",
        )
    return found


def calculate(name: str, typed: Mapping[str, str]) -> Calculation:
    """Calculate from what was typed.

    Parameters
    ----------
    name : str
        The calculator.
    typed : mapping of str to str
        Text by key, each number with its unit.

    Returns
    -------
    Calculation
        Results with their uncertainty, formula and source, fit to be kept.

    Raises
    ------
    InputsError
        If an input is missing, unknown or without its unit.
    OutOfRangeError
        If the law says nothing about such inputs.
    """
    calculator = calculator_named(name)
    reading = read_inputs(calculator, typed)
    answer = _answered(calculator, reading.inputs)
    spreader = Spreader(lambda inputs: _answered(calculator, inputs), reading)
    return Calculation(
        calculator=calculator.name,
        title=calculator.title,
        inputs=tuple(reading.given),
        results=tuple(_result(each, spreader) for each in answer.results),
        warnings=answer.warnings,
        cautions=calculator.cautions,
        formula=calculator.formula,
        model_error=calculator.model_error,
        sources=calculator.sources,
        software=SOFTWARE,
    )


def figure_of(name: str, typed: Mapping[str, str]) -> str | None:
    """Draw the answer as an SVG text; None when the calculator draws nothing."""
    calculator = calculator_named(name)
    if calculator.draw is None:
        return None
    return calculator.draw(read_inputs(calculator, typed).inputs)


def write_figure(name: str, typed: Mapping[str, str], path: Path) -> None:
    """Write the drawing of the answer to a file.

    Raises
    ------
    RecordError
        If the calculator draws nothing.
    """
    figure = figure_of(name, typed)
    if figure is None:
        raise RecordError(
            "this calculator draws nothing", where=f"calculator {name}", mend="Leave --figure out."
        )
    write_durably(path, figure.encode())


def _answered(calculator: Calculator, inputs: Inputs) -> Answer:
    """Apply the law.

    Raises
    ------
    OutOfRangeError
        If it says nothing about such inputs.
    """
    where = f"calculator {calculator.name}"
    try:
        with _alone, warnings.catch_warnings(record=True) as heard, np.errstate(all="ignore"):
            warnings.simplefilter("always", UserWarning)
            answer = calculator.compute(inputs)
    except OutOfRangeError as error:
        generic = error.what.endswith("inputs are outside the law")
        what = "an input lies outside the range of its law" if generic else error.what
        where = f"{where} ({error.where})"
        raise OutOfRangeError(
            f"cannot say: {what}", where=where, mend=error.mend, mask=error.mask
        ) from error
    except ArithmeticError as error:
        raise OutOfRangeError(
            "cannot say: the numbers leave every range",
            where=where,
            mend=CHECK_SIZES,
            mask=np.array([True]),
        ) from error
    for each in answer.results:
        if isinstance(each, Value) and not math.isfinite(each.si):
            cannot_say(f"cannot say: {each.label} is no finite number", CHECK_SIZES, where)
    advice = dict.fromkeys(_advice(str(each.message)) for each in heard)
    return replace(answer, warnings=(*answer.warnings, *advice))


def _advice(told: str) -> str:
    """Word what a law says of inputs beyond the range in which its error is known."""
    found = _BEYOND.fullmatch(told)
    if found is None:
        return told
    law, known = found["law"].replace("_", " "), found["known"]
    return f"An input lies beyond {known}, where the error of {law} is known: a weaker answer."


def _result(found: Value | Words, spreader: Spreader) -> Result:
    if isinstance(found, Words):
        return Result(
            name=found.name,
            label=found.label,
            words=found.words,
            verdict=found.verdict,
            note=found.note,
            leads=found.leads,
        )
    unit = UNITS[found.unit]
    spread, shares, missing = spreader.uncertainty(found)
    notes = [note for note in (found.note, missing) if note]
    return Result(
        name=found.name,
        label=found.label,
        value=(found.si - unit.offset) / unit.factor,
        unit=found.unit,
        standard_uncertainty=None if spread is None else spread / unit.factor,
        low=None if found.low is None else (found.low - unit.offset) / unit.factor,
        high=None if found.high is None else (found.high - unit.offset) / unit.factor,
        note="; ".join(notes) or None,
        leads=found.leads,
        shares=shares,
    )


class CalculationDesk:
    """Keeps calculations with a job, and shows them.

    Parameters
    ----------
    ledger : Ledger
        Where they are recorded.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger

    def places(self) -> tuple[Place, ...]:
        """Give every job, the newest first, each with its heads and spare parts."""
        with self._ledger.reading() as records:
            return tuple(
                place
                for job in records.jobs()
                for place in (
                    Place(job.name, f"job {job.name}"),
                    *(
                        Place(unit.designation, f"{unit.kind.value} {unit.designation}")
                        for unit in records.units(job.name)
                        if unit.in_scope
                    ),
                )
            )

    def keep(self, calculation: Calculation, place: str, by: str) -> CalculationEntry:
        """Keep a calculation with a job or a head.

        Parameters
        ----------
        calculation : Calculation
            What was calculated.
        place : str
            The job, or the designation of a head, a shared module or a spare part.
        by : str
            Who keeps it.

        Returns
        -------
        CalculationEntry
            The record.

        Raises
        ------
        RecordError
            If there is no such job or unit.
        """
        with self._ledger.transaction(by, utc_now()) as records:
            job, unit = _place_of(records, place)
            return records.keep_calculation(calculation, job=job, unit=unit)

    def kept(self, number: int) -> Kept:
        """Give a calculation on record, made again for comparison."""
        with self._ledger.reading() as records:
            entry = records.calculation(number)
        return Kept(entry, differences_of(entry.content))

    def kept_with(self, place: str) -> tuple[CalculationEntry, ...]:
        """Give the calculations that are kept with a job or a head, the newest first."""
        with self._ledger.reading() as records:
            job, unit = _place_of(records, place)
            return tuple(reversed(records.calculations(job, unit)))

    def earlier(self, name: str, part: str) -> dict[str, str]:
        """Give what earlier calculations on record fill in for a part, in any job."""
        calculator = calculator_named(name)
        if calculator.from_kept is None or not part:
            return {}
        with self._ledger.reading() as records:
            kept = tuple(e.content for e in records.calculations() if e.content.calculator == name)
        return dict(calculator.from_kept(part, kept))

    def of_head(self, name: str, unit: str) -> dict[str, str]:
        """Give what a calculator can fill in from what is known of a head."""
        calculator = calculator_named(name)
        with self._ledger.reading() as records:
            spec = _spec_of(records, unit)
        if spec is None or calculator.from_head is None:
            return {}
        return dict(calculator.from_head(spec))


def _place_of(records: HeadReading, place: str) -> tuple[str, str | None]:
    jobs = {job.name for job in records.jobs()}
    if place in jobs:
        return place, None
    return records.unit(place).job, place


def _spec_of(records: HeadReading, unit: str) -> HeadSpec | None:
    """Give the head spec of the configuration in force, if there is one."""
    if records.unit(unit).kind is not UnitKind.HEAD:
        return None
    held = records.configurations(unit)
    if not held:
        return None
    document = json.loads(records.document(held[-1].fingerprint)).get("head")
    return HeadSpec.from_document(document) if isinstance(document, dict) else None


def differences_of(kept: Calculation) -> tuple[str, ...]:
    """Calculate again from what was typed, and say what comes out otherwise.

    Parameters
    ----------
    kept : Calculation
        A calculation on record.

    Returns
    -------
    tuple of str
        Sentences; none when every result is the same up to rounding.
    """
    try:
        again = calculate(kept.calculator, kept.typed)
    except (OutOfRangeError, RecordError, ValueError) as error:
        return (f"{SOFTWARE} refuses these inputs: {error}",)
    told = []
    for before, now in zip(kept.results, again.results, strict=False):
        if (before.name, before.words, before.unit) != (now.name, now.words, now.unit):
            told.append(f"{before.label} said {before.words or before.value}, and is other now.")
        elif not math.isclose(
            was := before.value or 0.0, is_ := now.value or 0.0, rel_tol=SAME, abs_tol=1e-12
        ):
            told.append(f"{before.label} was {was:.10g}, and is {is_:.10g} now.")
    if len(kept.results) != len(again.results):
        told.append(f"There were {len(kept.results)} results, and are {len(again.results)} now.")
    return tuple(told)
