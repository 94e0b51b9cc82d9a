"""What an answer to a reading is worth: its unit, its uncertainty, its instrument, its limit."""

from dataclasses import dataclass
from datetime import date

from spinproof.model.check import Answer, Reading
from spinproof.model.errors import RecordError, UnitError
from spinproof.model.instrument import (
    InstrumentKind,
    InstrumentRecord,
    Standing,
    standard_uncertainty,
    standing_on,
)
from spinproof.model.judgement import Verdict
from spinproof.model.limit import Limit
from spinproof.model.quantity import UNITS, Quantity, units_of
from spinproof.stats.conformity import decide
from spinproof.stats.decision_rules import RULES


@dataclass(frozen=True)
class Answered:
    """What somebody found for one reading: a quantity, yes or no, or words."""

    reading: str
    """Its name in the check."""
    quantity: Quantity | None = None
    yes: bool | None = None
    words: str | None = None
    """Words for the record, or why a reading that not every head has is left out."""
    instrument: str | None = None
    """The shop's mark on what measured."""
    uncertainty: Quantity | None = None
    """Standard uncertainty, when it is not simply the instrument's."""
    conditions: str = "not noted"
    """Room and supplies: temperature, humidity, pressures."""


@dataclass(frozen=True)
class Weighed:
    """An answer with everything that its verdict is made from."""

    standard_uncertainty: float | None = None
    """In the unit of the answer."""
    standing: Standing | None = None
    limit: Limit | None = None
    verdict: Verdict | None = None
    conformance: float | None = None
    rule: str | None = None
    note: str | None = None


def weigh(
    reading: Reading,
    answered: Answered,
    instrument: InstrumentRecord | None,
    limit: Limit | None,
    on: date,
    where: str,
) -> Weighed:
    """Decide on an answer.

    Parameters
    ----------
    reading : Reading
        What was asked.
    answered : Answered
        What was found.
    instrument : InstrumentRecord or None
        What measured.
    limit : Limit or None
        The limit in force.
    on : date
        Day of the measurement.
    where : str
        Head, check and reading, for messages.

    Returns
    -------
    Weighed
        Verdict, rule, uncertainty, and what the instrument's word is worth.

    Raises
    ------
    RecordError
        If the answer is of another kind than what was asked, or its instrument is missing, of
        another kind, or does not tell its uncertainty.
    UnitError
        If the unit is of another dimension.
    """
    if is_left_out(reading, answered):
        return Weighed(note="left out")
    _require_kind(reading, answered, where)
    if reading.answer is Answer.YES_NO:
        verdict = Verdict.PASS if answered.yes else Verdict.FAIL
        return Weighed(verdict=verdict, rule=f"yes conforms: {reading.acceptance}")
    if answered.quantity is None:
        return Weighed()
    if answered.quantity.dimension is not reading.dimension:
        accepted = ", ".join(units_of(reading.dimension)) if reading.dimension else ""
        raise UnitError(
            f"{answered.quantity} is a {answered.quantity.dimension}, and {reading.dimension} "
            "is asked for",
            where=where,
            mend=f"Write the number with one of: {accepted}.",
        )
    return _weigh_quantity(reading, answered, answered.quantity, instrument, limit, on, where)


def is_left_out(reading: Reading, answered: Answered) -> bool:
    """Tell whether a reading that not every head has was left out with a reason."""
    alone = answered.quantity is None and answered.yes is None and answered.words is not None
    return alone and reading.answer is not Answer.TEXT and reading.only_if is not None


def _require_kind(reading: Reading, answered: Answered, where: str) -> None:
    given = {
        Answer.QUANTITY: answered.quantity is not None,
        Answer.YES_NO: answered.yes is not None,
        Answer.TEXT: answered.words is not None,
    }
    if [kind for kind, is_given in given.items() if is_given] not in (
        [reading.answer],
        [reading.answer, Answer.TEXT],
    ):
        raise RecordError(
            f"the reading asks for {reading.answer}",
            where=where,
            mend="Answer with that, and nothing else."
            if reading.only_if is None
            else f"Answer with that; it applies when {reading.only_if}.",
        )


def _weigh_quantity(
    reading: Reading,
    answered: Answered,
    quantity: Quantity,
    instrument: InstrumentRecord | None,
    limit: Limit | None,
    on: date,
    where: str,
) -> Weighed:
    held = _require_instrument(reading, instrument, where)
    within = None if reading.derived else quantity
    standing = standing_on(held, on, within)
    spread = _spread(reading, answered, quantity, held, where)
    if limit is None:
        return Weighed(spread, standing)
    factor = UNITS[quantity.unit].factor / UNITS[limit.unit].factor
    decision = decide(
        quantity.to(limit.unit).value,
        (spread or 0.0) * factor,
        limit.lower,
        limit.upper,
        rule=RULES[limit.rule],
    )
    return Weighed(
        spread,
        standing,
        limit,
        decision.verdict,
        decision.conformance,
        decision.rule,
        decision.remark,
    )


def _require_instrument(
    reading: Reading, instrument: InstrumentRecord | None, where: str
) -> InstrumentRecord:
    kinds = ", ".join(reading.instruments)
    if instrument is None:
        raise RecordError(
            "the reading names no instrument", where=where, mend=f"Name one of kind: {kinds}."
        )
    if instrument.kind not in {*reading.instruments, InstrumentKind.MACHINE_DISPLAY}:
        raise RecordError(
            f"{instrument.id} is a {instrument.kind}",
            where=where,
            mend=f"Measure with one of kind: {kinds}.",
        )
    return instrument


def _spread(
    reading: Reading,
    answered: Answered,
    quantity: Quantity,
    instrument: InstrumentRecord,
    where: str,
) -> float | None:
    """Give the standard uncertainty in the answer's unit; None for an indication only.

    Raises
    ------
    UnitError
        If the one that was given is of another dimension.
    RecordError
        If none was given and it does not follow from the instrument.
    """
    if answered.uncertainty is not None:
        given = answered.uncertainty
        if UNITS[given.unit].dimension is not quantity.dimension or given.value < 0:
            raise UnitError(
                f"{given} is no standard uncertainty of {quantity}",
                where=where,
                mend=f"Give it in {quantity.unit}, zero or more.",
            )
        return given.value * UNITS[given.unit].factor / UNITS[quantity.unit].factor
    if reading.derived:
        raise RecordError(
            "the number is worked out, so its uncertainty is not simply the instrument's",
            where=where,
            mend="Give its standard uncertainty as well.",
        )
    if instrument.kind is InstrumentKind.MACHINE_DISPLAY:
        return None
    found = standard_uncertainty(instrument, quantity)
    return None if found is None else found.value
