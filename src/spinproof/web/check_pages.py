"""The pages of checks: one check at a time, each reading a form of its own."""

import re
from dataclasses import replace
from typing import Annotated, Literal
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from pydantic import Field, StringConstraints
from starlette.responses import Response

from spinproof.app.check_views import AnswerView, CheckView, ReadingView
from spinproof.app.clock import utc_now
from spinproof.app.floor_deeds import Answering, Floor, Sent
from spinproof.app.limit_bands import LimitBand
from spinproof.model.check import Answer, EvidenceKind, Reading
from spinproof.model.errors import EvidenceError, RecordError, UnitError
from spinproof.model.judgement import Metric
from spinproof.model.quantity import Quantity, parse_quantity
from spinproof.web.access import Me
from spinproof.web.forms import (
    FieldError,
    Form,
    Line,
    Posted,
    PostedForm,
    Text,
    Typed,
    at_field,
    blank,
)
from spinproof.web.rendering import render, templates
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor
from spinproof.web.wording import bare, limit, measured, unit

router = APIRouter()

PLAIN_NUMBER = re.compile("[+\N{MINUS SIGN}-]?[0-9]+([.,][0-9]+)?([eE][+-]?[0-9]+)?")
PIECE = 1 << 20
Short = Annotated[str, StringConstraints(strip_whitespace=True, max_length=300)]


class Given(Typed):
    """An answer to one reading; which fields count follows from what is asked."""

    value: Short = ""
    confirmed: Short = ""
    """The number as it was shown back."""
    uncertainty: Short = ""
    yes: Literal["", "yes", "no"] = ""
    words: Text = ""
    left_out: Text = ""
    """Why a reading that not every head has is left out."""
    leave: Literal["", "out"] = ""
    instrument: Short = ""
    conditions: Short = ""
    why: Short = ""
    age_s: Annotated[float, Field(ge=0, le=30 * 86400)] = 0.0


class TakenBack(Typed):
    """Why an answer does not hold."""

    why: Short = ""
    age_s: Annotated[float, Field(ge=0, le=30 * 86400)] = 0.0


class Finished(Typed):
    """The end of a check; evidence is chosen from what the job holds."""

    evidence: Short = ""


class Attached(Typed):
    """What a file shows."""

    shows: EvidenceKind
    what: Line


def floor_of(request: Request) -> Floor:
    """Give what records checks and gates."""
    browser = request.app.state.browser
    return Floor(browser.home, browser.ledger)


OnFloor = Annotated[Floor, Depends(floor_of)]
"""What a route asks for checks and gates."""


@router.get("/heads/{head}/checks/{check}")
def show_check(head: str, check: str, shop: Shop, floor: OnFloor, me: Me) -> Response:
    """Show one check."""
    return check_page(head, check, shop, floor, me)


def check_page(
    head: str, check: str, shop: Shop, floor: Floor, me: Visitor, sent: Form | None = None
) -> Response:
    """Show one check, with the form that could not be carried out or is shown back."""
    view = floor.check(head, check, utc_now())
    own = f"/heads/{head}/checks/{check}"

    def form(end: str, **values: str) -> Form:
        action = f"{own}/{end}"
        return sent if sent and sent.action == action else blank(me, action, **values)

    return render(
        "check.html",
        view=view,
        job=shop.job(view.sheet.job),
        form=form,
        me=me,
        conditions=_last_conditions(view),
        kinds=[kind.value for kind in EvidenceKind],
        simulated=False,
    )


def _last_conditions(view: CheckView) -> str:
    said = [r.answer for r in view.readings if r.answer is not None]
    latest = max(said, key=lambda answer: answer.id, default=None)
    return "" if latest is None or latest.conditions == "not noted" else latest.conditions


@router.post("/heads/{head}/checks/{check}/readings/{number}")
def answer_reading(
    head: str, check: str, number: int, posted: Posted, shop: Shop, floor: OnFloor, me: Me
) -> Response:
    """Write the answer to one reading down, once it was shown back."""
    asked = _asked(floor, head, check, number)

    def again(form: Form) -> Response:
        return check_page(head, check, shop, floor, me, form)

    shown = _to_show_back(posted, asked.reading)
    if shown is not None and not posted.wants_json:
        confirmed = {"confirmed": f"{shown.value!r} {shown.unit}"}
        return again(blank(me, posted.action, **{**posted.values, **confirmed}))

    def act() -> str:
        if shown is not None:
            raise FieldError({"value": f"This reads as {quantity_words(shown)}. Store it again."})
        typed = posted.read(Given)
        if asked.answer is not None and not typed.why:
            raise FieldError({"why": "Say why another answer takes its place; both are kept."})
        floor.answer(head, check, read_answer(typed, asked.reading, number), me.name)
        return f"/heads/{quote(head)}/checks/{quote(check)}#reading-{number}"

    return posted.carry_out(act, again)


def _asked(floor: Floor, head: str, check: str, number: int) -> ReadingView:
    readings = floor.check(head, check, utc_now()).readings
    if not 1 <= number <= len(readings):
        raise RecordError(
            f"there is no reading {number}",
            where=f"check {check}",
            mend=f"It has {len(readings)}; open its page anew.",
        )
    return readings[number - 1]


def _to_show_back(posted: PostedForm, reading: Reading) -> Quantity | None:
    """Give the number that must be shown back before it is stored."""
    values = posted.values
    if reading.answer is not Answer.QUANTITY or values.get("leave") == "out":
        return None
    try:
        typed = read_number(values.get("value", ""), reading)
    except UnitError:
        return None  # said beside its field
    try:
        confirmed = read_number(values.get("confirmed", ""), reading)
    except UnitError:
        return typed
    return None if confirmed == typed else typed


def read_number(text: str, reading: Reading) -> Quantity:
    """Read a number as it was typed beside its unit, or with a unit of its own.

    Parameters
    ----------
    text : str
        What was typed.
    reading : Reading
        What is asked, in which unit.

    Returns
    -------
    Quantity
        The number with its unit.

    Raises
    ------
    UnitError
        If it is none, can be read in two ways, or its unit is of another dimension.
    """
    if reading.unit is None or reading.dimension is None:
        raise UnitError("no number is asked for", where=reading.name, mend="Answer in words.")
    plain = PLAIN_NUMBER.fullmatch(text.strip())
    whole = f"{text.strip()} {reading.unit}" if plain and reading.unit != "1" else text
    return parse_quantity(whole, reading.dimension, where=reading.name)


def read_answer(typed: Given, reading: Reading, number: int) -> Answering:
    """Read an answer of the kind that is asked for.

    Parameters
    ----------
    typed : Given
        The fields of the form.
    reading : Reading
        What is asked.
    number : int
        Its place in the check.

    Returns
    -------
    Answering
        The answer.

    Raises
    ------
    FieldError
        If the field that counts is empty or cannot be read.
    """
    bare_answer = Answering(number, conditions=typed.conditions, why=typed.why, age_s=typed.age_s)
    if typed.leave == "out":
        if not typed.left_out:
            raise FieldError({"left_out": "Say why it is left out on this head."})
        return replace(bare_answer, words=typed.left_out)
    if reading.answer is Answer.TEXT:
        if not typed.words:
            raise FieldError({"words": "Fill this in."})
        return replace(bare_answer, words=typed.words)
    if reading.answer is Answer.YES_NO:
        if not typed.yes:
            raise FieldError({"yes": "Answer yes or no."})
        return replace(bare_answer, yes=typed.yes == "yes")
    if not typed.instrument:
        raise FieldError({"instrument": "Choose what measured it."})
    with at_field("value", UnitError):
        quantity = read_number(typed.value, reading)
    return replace(
        bare_answer,
        quantity=quantity,
        instrument=typed.instrument,
        uncertainty=_uncertainty(typed, reading),
    )


def _uncertainty(typed: Given, reading: Reading) -> Quantity | None:
    if reading.derived and not typed.uncertainty:
        raise FieldError({"uncertainty": "Give it: the number is worked out, not read."})
    if not typed.uncertainty:
        return None
    with at_field("uncertainty", UnitError):
        return read_number(typed.uncertainty, reading)


@router.post("/heads/{head}/checks/{check}/readings/{number}/take-back")
def take_back(
    head: str, check: str, number: int, posted: Posted, shop: Shop, floor: OnFloor, me: Me
) -> Response:
    """Take the answer to a reading back; it stays on record."""

    def act() -> str:
        typed = posted.read(TakenBack)
        floor.take_back(head, check, number, typed.why, me.name)
        return f"/heads/{quote(head)}/checks/{quote(check)}#reading-{number}"

    return posted.carry_out(act, lambda form: check_page(head, check, shop, floor, me, form))


def attached(posted: PostedForm, floor: Floor, head: str, made_at: str, me: Visitor) -> None:
    """Take in the file of a form as evidence of a head, made at a check or a checkpoint.

    Raises
    ------
    FieldError
        If no file was chosen, or it cannot be taken.
    """
    typed = posted.read(Attached)
    file = posted.files.get("file")
    if file is None or not file.filename:
        raise FieldError({"file": "Choose a file."})
    with file.file as stream, at_field("file", EvidenceError, RecordError):
        pieces = iter(lambda: stream.read(PIECE), b"")
        floor.attach(head, made_at, Sent(file.filename, pieces, typed.shows, typed.what), me.name)


@router.post("/heads/{head}/checks/{check}/evidence")
def attach_evidence(
    head: str, check: str, posted: Posted, shop: Shop, floor: OnFloor, me: Me
) -> Response:
    """Take a file in as evidence of a head."""

    def act() -> str:
        attached(posted, floor, head, check, me)
        return f"/heads/{quote(head)}/checks/{quote(check)}#result"

    return posted.carry_out(act, lambda form: check_page(head, check, shop, floor, me, form))


@router.post("/heads/{head}/checks/{check}/finish")
def finish_check(
    head: str, check: str, posted: Posted, shop: Shop, floor: OnFloor, me: Me
) -> Response:
    """Call a check finished."""

    def act() -> str:
        posted.read(Finished)
        floor.finish(head, check, posted.lists.get("evidence", ()), me.name)
        return f"/heads/{quote(head)}/checks/{quote(check)}#result"

    return posted.carry_out(act, lambda form: check_page(head, check, shop, floor, me, form))


def quantity_words(quantity: Quantity) -> str:
    """Write a number as it was typed, with its unit.

    Examples
    --------
    >>> quantity_words(Quantity(value=2.8, unit="bar_g"))
    '2.8 bar (gauge)'
    """
    return f"{bare(quantity.value)} {unit(quantity.unit)}"


def answer_words(answer: AnswerView) -> str:
    """Write an answer: value ± U with its unit, yes or no, or words.

    Parameters
    ----------
    answer : AnswerView
        The answer in force.

    Returns
    -------
    str
        As the page shows it.
    """
    if answer.value is not None and answer.symbol is not None:
        if answer.uncertainty:
            shown = Metric(
                name="reading",
                unit=answer.symbol,
                value=answer.value,
                uncertainty=answer.uncertainty,
            )
            return measured(shown)
        return quantity_words(Quantity(value=answer.value, unit=answer.symbol))
    if answer.yes is not None:
        return "yes" if answer.yes else "no"
    return f"left out: {answer.words}" if answer.note == "left out" else answer.words or ""


def band_words(band: LimitBand) -> str:
    """Say in words what the drawing of a limit shows.

    Parameters
    ----------
    band : LimitBand
        The limit on its line.

    Returns
    -------
    str
        A sentence or two.
    """
    name = unit(band.limit.unit)
    text = f"The limit is {limit(band.limit)}."
    if not band.is_guarded:
        return f"{text} Rule: {band.rule}."
    if band.uncertainty is None:
        return f"{text} The guard band follows from the instrument."
    if band.is_empty:
        return f"{text} With u = {bare(band.uncertainty)} {name} no reading could be accepted."
    low, high = (None if x is None else f"{x:.4g}".replace("-", "−") for x in band.accepted)
    if low is None:
        inside = f"up to {high} {name}"
    elif high is None:
        inside = f"from {low} {name}"
    else:
        inside = f"from {low} to {high} {name}"
    spread = f"{band.uncertainty:.2g} {name}"
    return f"{text} Accepted {inside}, with u = {spread} at the limit. Rule: {band.rule}."


def shown_back(text: str) -> str:
    """Write a number as the page shows it back, from what it will store.

    Examples
    --------
    >>> shown_back("2.8 bar_g")
    '2.8 bar (gauge)'
    """
    value, _, symbol = text.partition(" ")
    return quantity_words(Quantity(value=float(value), unit=symbol or "1"))


templates.filters.update(
    {"answer": answer_words, "band_words": band_words, "shown_back": shown_back}
)
