"""What the pages of checks may show: one check at a time, and the sheet that it stands on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from spinproof.app.limit_bands import LimitBand, limit_band
from spinproof.ledger import standing
from spinproof.ledger.gating import Reason, reasons_not_to_check
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.shop_entries import MeasurementEntry, entered_later
from spinproof.ledger.standing import limit_in_force
from spinproof.model.check import (
    CheckSheet,
    CheckTemplate,
    Reading,
)
from spinproof.model.errors import UnitError
from spinproof.model.handover import EvidenceItem
from spinproof.model.instrument import (
    InstrumentKind,
    InstrumentRecord,
    Standing,
    calibration_on,
    standard_uncertainty,
    standing_on,
)
from spinproof.model.limit import Limit
from spinproof.model.quantity import Quantity

PASSED, FAILED, REPEAT, OPEN = "pass", "fail", "to be repeated", "open"
WAITING, WAIVED, LEFT_OUT, SUSPECT = "waiting", "waived", "not on this head", "suspect"


@dataclass(frozen=True)
class InstrumentChoice:
    """An instrument that may answer a reading."""

    id: str
    words: str
    standing: Standing
    """What its word is worth today."""
    due: date | None
    """Last day of its calibration."""

    @property
    def says(self) -> str:
        """What its word is worth today, with the day on which that ends."""
        until = f" until {self.due}" if self.due and self.standing is Standing.VALID else ""
        return f"{self.standing.value}{until}"


@dataclass(frozen=True)
class AnswerView:
    """An answer that is in force."""

    id: int
    value: float | None
    symbol: str | None
    """Unit of the value."""
    uncertainty: float | None
    """Standard uncertainty of the value, in its unit."""
    yes: bool | None
    words: str | None
    """The answer in words; also why a reading that not every head has was left out."""
    word: str | None
    """pass, fail or undecided; None when nothing decides."""
    rule: str | None
    margin: float | None
    """Distance to the nearest limit, negative outside, in the limit's unit."""
    margin_unit: str
    margin_uncertainty: float | None
    conformance: float | None
    """Probability that the true value lies inside the limit."""
    note: str | None
    instrument: str | None
    standing: str | None
    conditions: str
    doubt: str | None
    """Why it is suspect by what is known today."""
    who: str
    done_at: str
    at: str
    later: bool
    """Whether it was written down long after it was read."""


@dataclass(frozen=True)
class ReadingView:
    """One thing to find out, as the page asks for it."""

    number: int
    """Place in the check, counted from 1."""
    reading: Reading
    limit: Limit | None
    """The limit in force."""
    instruments: tuple[InstrumentChoice, ...]
    """Valid ones first."""
    answer: AnswerView | None
    band: LimitBand | None

    @property
    def symbol(self) -> str:
        """Unit that stands beside the field."""
        return self.reading.unit or ""


@dataclass(frozen=True)
class CheckLine:
    """A check as a line of its sheet."""

    id: str
    title: str
    word: str
    reasons: tuple[str, ...]
    """Why it is not passed."""
    refusals: tuple[Reason, ...]
    """Why it may not be made now."""
    settled: bool
    """Whether a gate may rest on it."""
    found: tuple[tuple[str, AnswerView], ...]
    """What was read, by reading, once the check is finished."""

    @property
    def measured(self) -> tuple[tuple[str, AnswerView], ...]:
        """Give what is a number."""
        return tuple(each for each in self.found if each[1].value is not None)

    @property
    def answered_yes(self) -> int:
        """How many questions were answered with yes."""
        return sum(answer.yes is True for _, answer in self.found)

    @property
    def otherwise(self) -> tuple[tuple[str, AnswerView], ...]:
        """Give what is neither a number nor a yes."""
        return tuple(a for a in self.found if a[1].value is None and a[1].yes is not True)

    @property
    def may_be_made(self) -> bool:
        """Whether it is the turn of this check."""
        return not self.settled and not self.refusals


@dataclass(frozen=True)
class SheetView:
    """The checks of one checkpoint."""

    head: str
    letter: str
    job: str
    sheet: CheckSheet
    lines: tuple[CheckLine, ...]

    @property
    def settled(self) -> int:
        """How many of them a gate may rest on."""
        return sum(line.settled for line in self.lines)

    @property
    def next_one(self) -> CheckLine | None:
        """The next check that may be made."""
        return next((line for line in self.lines if line.may_be_made), None)

    def line(self, check: str) -> CheckLine:
        """Give the line of a check."""
        return next(line for line in self.lines if line.id == check)


@dataclass(frozen=True)
class CheckView:
    """One check, to be made now."""

    sheet: SheetView
    check: CheckTemplate
    line: CheckLine
    number: int
    """Place on the sheet, counted from 1."""
    readings: tuple[ReadingView, ...]
    before: str | None
    """The check before this one that may be made now."""
    after: str | None
    evidence: tuple[EvidenceItem, ...]
    """What the job holds already."""

    @property
    def unanswered(self) -> tuple[str, ...]:
        """Readings without an answer."""
        return tuple(r.reading.name for r in self.readings if r.answer is None)


def sheet_view(file: HeadFile, sheet: CheckSheet) -> SheetView:
    """Show the checks of a checkpoint.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    sheet : CheckSheet
        The checks.

    Returns
    -------
    SheetView
        Each check with its state, and why it may not be made now.
    """
    lines = tuple(_line(file, check) for check in sheet.checks)
    return SheetView(file.unit.designation, file.unit.letter, file.unit.job, sheet, lines)


def _line(file: HeadFile, check: CheckTemplate) -> CheckLine:
    word, reasons = _state(file, check)
    settled = word in {PASSED, WAIVED, LEFT_OUT}
    refusals = () if settled else reasons_not_to_check(file, check)
    if word == OPEN and refusals:
        word = WAITING
    finished = standing.standing_of(file, check.id).result is not None
    answers = standing.answers_of(file, check.id) if finished else {}
    found = tuple(
        (reading.name, _answer(file, answers[reading.name]))
        for reading in check.readings
        if reading.name in answers
    )
    return CheckLine(check.id, check.title, word, reasons, refusals, settled, found)


def _state(file: HeadFile, check: CheckTemplate) -> tuple[str, tuple[str, ...]]:
    if check.id in file.waivers:
        return WAIVED, (f"Waived by {file.waivers[check.id]}.",)
    if not standing.is_applicable(file, check):
        empty = ", ".join(check.depends_on)
        return LEFT_OUT, (f"Every position that it looks at is empty: {empty}.",)
    found = standing.standing_of(file, check.id)
    if found.stands:
        return PASSED, ()
    if found.result is None:
        return OPEN, ()
    if found.invalidated_by is not None:
        return REPEAT, found.reasons
    return (SUSPECT if found.result.passed else FAILED), found.reasons


def check_view(file: HeadFile, check_id: str, moment: str) -> CheckView:
    """Show one check.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    check_id : str
        Id of the check.
    moment : str
        The present instant.

    Returns
    -------
    CheckView
        What to do, what to read, what was read.

    Raises
    ------
    RecordError
        If there is no such check.
    """
    shop_rules = file.require_rules()
    check = shop_rules.check(check_id)
    own = next(sheet for sheet in shop_rules.sheets if check in sheet.checks)
    sheet = sheet_view(file, own)
    answers = standing.answers_of(file, check.id)
    ids = [line.id for line in sheet.lines]
    place = ids.index(check.id)
    open_ones = [line.id for line in sheet.lines if line.may_be_made]
    return CheckView(
        sheet=sheet,
        check=check,
        line=sheet.lines[place],
        number=place + 1,
        readings=tuple(
            reading_view(file, check, number, answers, moment)
            for number, _ in enumerate(check.readings, start=1)
        ),
        before=next((i for i in reversed(open_ones) if ids.index(i) < place), None),
        after=next((i for i in open_ones if ids.index(i) > place), None),
        evidence=file.evidence,
    )


def reading_view(
    file: HeadFile,
    check: CheckTemplate,
    number: int,
    answers: Mapping[str, MeasurementEntry],
    moment: str,
) -> ReadingView:
    """Show one reading.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    check : CheckTemplate
        The check.
    number : int
        Place of the reading in the check, counted from 1.
    answers : mapping of str to MeasurementEntry
        Answers in force, by reading.
    moment : str
        The present instant; limits agreed later do not hold.

    Returns
    -------
    ReadingView
        With the instruments that may answer it.
    """
    reading = check.readings[number - 1]
    choices = instrument_choices(file, reading)
    answered = answers.get(reading.name)
    held = limit_in_force(file, check.id, reading, moment)
    band = None
    if held is not None:
        value, spread = _in_unit(answered, held.unit)
        if spread is None:
            best = next((c for c in choices if c.standing is Standing.VALID), None)
            spread = uncertainty_near(file, best.id if best else None, held)
        band = limit_band(held, spread, value)
    return ReadingView(
        number=number,
        reading=reading,
        limit=held,
        instruments=choices,
        answer=None if answered is None else _answer(file, answered),
        band=band,
    )


def instrument_choices(file: HeadFile, reading: Reading) -> tuple[InstrumentChoice, ...]:
    """Give the instruments that may answer a reading, valid ones first.

    Parameters
    ----------
    file : HeadFile
        Records of the head; its day decides what is due.
    reading : Reading
        The reading.

    Returns
    -------
    tuple of InstrumentChoice
        Of the kinds that the reading names; the machine's own display last, as an indication.
    """
    kinds = {*reading.instruments, InstrumentKind.MACHINE_DISPLAY}
    fitting = [i for i in file.instruments.values() if i.kind in kinds]
    choices = [_choice(instrument, file.today) for instrument in fitting]
    return tuple(sorted(choices, key=lambda c: (not c.standing.supports_a_verdict, c.id)))


def _choice(instrument: InstrumentRecord, today: date) -> InstrumentChoice:
    held = calibration_on(instrument, today)
    return InstrumentChoice(
        id=instrument.id,
        words=instrument.words,
        standing=standing_on(instrument, today),
        due=held.due if held else None,
    )


def uncertainty_near(file: HeadFile, instrument: str | None, limit: Limit) -> float | None:
    """Give the standard uncertainty that an instrument has at a limit.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    instrument : str or None
        The instrument.
    limit : Limit
        The limit.

    Returns
    -------
    float or None
        In the limit's unit; None when the instrument does not measure there. [unit]
    """
    held = None if instrument is None else file.instruments.get(instrument)
    bounds = [bound for bound in (limit.upper, limit.lower) if bound is not None]
    if held is None or not bounds:
        return None
    try:
        found = standard_uncertainty(held, Quantity(value=bounds[0], unit=limit.unit))
    except UnitError:
        return None
    return None if found is None else found.value


def _in_unit(measured: MeasurementEntry | None, unit: str) -> tuple[float | None, float | None]:
    if measured is None or measured.value is None or measured.symbol is None:
        return None, None
    value = Quantity(value=measured.value, unit=measured.symbol).to(unit).value
    if measured.standard_uncertainty is None or measured.value == 0:
        return value, None
    zero = Quantity(value=0.0, unit=measured.symbol).to(unit).value
    factor = (value - zero) / measured.value
    return value, measured.standard_uncertainty * abs(factor)


def _margin(value: float | None, limit: Limit | None) -> float | None:
    """Give the distance of a reading to the nearest limit it was decided by, negative outside."""
    if value is None or limit is None:
        return None
    below = [] if limit.upper is None else [limit.upper - value]
    above = [] if limit.lower is None else [value - limit.lower]
    return min(below + above)


def _answer(file: HeadFile, measured: MeasurementEntry) -> AnswerView:
    value, spread = (
        (None, None) if measured.limit is None else _in_unit(measured, measured.limit.unit)
    )
    return AnswerView(
        id=measured.id,
        value=measured.value,
        symbol=measured.symbol,
        uncertainty=measured.standard_uncertainty,
        yes=measured.yes,
        words=measured.words,
        word=None if measured.verdict is None else measured.verdict.value,
        rule=measured.rule,
        margin=_margin(value, measured.limit),
        margin_unit=measured.limit.unit if measured.limit else "",
        margin_uncertainty=spread,
        conformance=measured.conformance,
        note=measured.note,
        instrument=measured.instrument,
        standing=None if measured.standing is None else measured.standing.value,
        conditions=measured.conditions,
        doubt=standing.doubt_about(file, measured),
        who=measured.who,
        done_at=measured.done_at,
        at=measured.at,
        later=entered_later(measured.done_at, measured.at),
    )
