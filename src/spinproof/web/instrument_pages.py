"""The pages of instruments: what each is worth today, its calibrations, and what became suspect."""

from datetime import date
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends
from starlette.responses import Response

from spinproof.app.clock import utc_now
from spinproof.app.instrument_deeds import InstrumentDesk
from spinproof.app.instrument_views import range_words
from spinproof.model.access import Thing
from spinproof.model.errors import RecordError
from spinproof.model.instrument import (
    Calibration,
    InstrumentKind,
    InstrumentRecord,
    InterimCheck,
    MeasuringRange,
    Tolerance,
)
from spinproof.model.quantity import UNITS
from spinproof.web.access import Me
from spinproof.web.deeds import forms_of, may_write
from spinproof.web.forms import FieldError, Form, Line, Posted, Text, Typed, at_field
from spinproof.web.nouns import made, number, number_or_none
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()

RANGES = ("1", "2", "3")


class TypedRange(Typed):
    """A range of an instrument."""

    unit_1: Text = ""
    low_1: Text = ""
    high_1: Text = ""
    step_1: Text = ""
    uncertainty_1: Text = ""
    relative_1: Text = ""

    def field(self, name: str) -> str:
        """Give what was typed in a field."""
        return str(getattr(self, name))


class TypedInstrument(TypedRange):
    """An instrument with up to three ranges, and its last calibration; more are added to it."""

    id: Line
    kind: InstrumentKind
    words: Line
    unit_2: Text = ""
    low_2: Text = ""
    high_2: Text = ""
    step_2: Text = ""
    uncertainty_2: Text = ""
    relative_2: Text = ""
    unit_3: Text = ""
    low_3: Text = ""
    high_3: Text = ""
    step_3: Text = ""
    uncertainty_3: Text = ""
    relative_3: Text = ""
    at: Text = ""
    due: Text = ""
    certificate: Text = ""
    laboratory: Text = ""


class TypedCalibration(Typed):
    """A calibration."""

    at: date
    due: date
    certificate: Line
    laboratory: Text = ""
    as_found: Tolerance
    as_left: Tolerance


class TypedCheck(Typed):
    """A comparison between two calibrations."""

    at: date
    found: Tolerance
    note: Text = ""


def instrument_desk(shop: Shop) -> InstrumentDesk:
    """Give what records instruments."""
    return InstrumentDesk(shop.ledger)


Instruments = Annotated[InstrumentDesk, Depends(instrument_desk)]
"""What a route asks for instruments."""


@router.get("/instruments")
def show_instruments(desk: Instruments, me: Me) -> Response:
    """Show all instruments; those that support no verdict come first."""
    return list_page(desk, me)


def list_page(desk: InstrumentDesk, me: Visitor, sent: Form | None = None) -> Response:
    """Give the page of all instruments."""
    return render(
        "instruments.html",
        lines=desk.lines(utc_now().date()),
        form=forms_of(me, sent),
        may_write=may_write(me, Thing.RUNS),
        kinds=tuple(InstrumentKind),
        units=tuple(UNITS),
        ranges=RANGES,
        say=range_words,
        simulated=False,
    )


@router.get("/instruments/{name}")
def show_instrument(desk: Instruments, me: Me, name: str) -> Response:
    """Show one instrument with its history."""
    return instrument_page(desk, me, name)


def instrument_page(
    desk: InstrumentDesk, me: Visitor, name: str, sent: Form | None = None
) -> Response:
    """Give the page of one instrument."""
    return render(
        "instrument.html",
        view=desk.view(name, utc_now().date()),
        form=forms_of(me, sent),
        may_write=may_write(me, Thing.RUNS),
        found=(Tolerance.NOT_STATED, Tolerance.IN, Tolerance.OUT),
        checked=(Tolerance.IN, Tolerance.OUT),
        units=tuple(UNITS),
        say=range_words,
        today=utc_now().date(),
        simulated=False,
    )


@router.post("/instruments")
def add_instrument(desk: Instruments, me: Me, posted: Posted) -> Response:
    """Add an instrument."""

    def act() -> str:
        record = read_instrument(posted.read(TypedInstrument))
        with at_field("id", RecordError):
            desk.add(record, me.name)
        return _page(record.id)

    return posted.carry_out(act, lambda form: list_page(desk, me, form))


def read_instrument(typed: TypedInstrument) -> InstrumentRecord:
    """Read an instrument from its form.

    Parameters
    ----------
    typed : TypedInstrument
        The fields.

    Returns
    -------
    InstrumentRecord
        The instrument.

    Raises
    ------
    FieldError
        If a range or the calibration is not whole.
    """
    if "/" in typed.id:
        raise FieldError({"id": "Write the mark without a slash."})
    ranges = tuple(each for which in RANGES if (each := _range(typed, which)) is not None)
    given = any((typed.at, typed.due, typed.certificate, typed.laboratory))
    calibrations = (_first_calibration(typed),) if given else ()
    return made(
        lambda: InstrumentRecord(
            id=typed.id,
            kind=typed.kind,
            words=typed.words,
            ranges=ranges,
            calibrations=calibrations,
        ),
        {},
        "id",
    )


def _range(typed: TypedRange, which: str) -> MeasuringRange | None:
    names = {name: f"{name}_{which}" for name in ("low", "high", "step", "uncertainty")}
    share = f"relative_{which}"
    if not any(typed.field(name) for name in (*names.values(), share)):
        return None
    low, high, step, spread = (number(name, typed.field(name)) for name in names.values())
    relative = number_or_none(share, typed.field(share)) or 0.0
    fields = {
        "unit": f"unit_{which}",
        "low": names["low"],
        "high": names["high"],
        "resolution": names["step"],
        "standard_uncertainty": names["uncertainty"],
        "relative_uncertainty": share,
    }
    return made(
        lambda: MeasuringRange(
            unit=typed.field(f"unit_{which}"),
            low=low,
            high=high,
            resolution=step,
            standard_uncertainty=spread,
            relative_uncertainty=relative / 100,
        ),
        fields,
        names["high"],
    )


def _first_calibration(typed: TypedInstrument) -> Calibration:
    at, due = _day("at", typed.at), _day("due", typed.due)
    if at > utc_now().date():
        raise FieldError({"at": "This day lies in the future. Check the date."})
    if not typed.certificate:
        raise FieldError({"certificate": "Fill this in, or leave the calibration empty."})
    return made(
        lambda: Calibration(
            at=at, due=due, certificate=typed.certificate, laboratory=typed.laboratory or None
        ),
        {},
        "due",
    )


def _day(field: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise FieldError({field: "Write a date as 2031-05-06."}) from None


@router.post("/instruments/{name}/calibrations")
def add_calibration(desk: Instruments, me: Me, posted: Posted, name: str) -> Response:
    """Record a calibration."""

    def act() -> str:
        typed = posted.read(TypedCalibration)
        event = made(
            lambda: Calibration(
                at=typed.at,
                due=typed.due,
                certificate=typed.certificate,
                laboratory=typed.laboratory or None,
                as_found=typed.as_found,
                as_left=typed.as_left,
            ),
            {},
            "due",
        )
        return _record(desk, me, name, event)

    return posted.carry_out(act, lambda form: instrument_page(desk, me, name, form))


@router.post("/instruments/{name}/ranges")
def add_range(desk: Instruments, me: Me, posted: Posted, name: str) -> Response:
    """Record a further range."""

    def act() -> str:
        desk.view(name, utc_now().date())
        span = _range(posted.read(TypedRange), "1")
        if span is None:
            raise FieldError({"low_1": "Fill this in."})
        with at_field("high_1", RecordError):
            desk.add_range(name, span, me.name)
        return f"{_page(name)}#ranges"

    return posted.carry_out(act, lambda form: instrument_page(desk, me, name, form))


@router.post("/instruments/{name}/checks")
def add_check(desk: Instruments, me: Me, posted: Posted, name: str) -> Response:
    """Record a comparison between two calibrations."""

    def act() -> str:
        typed = posted.read(TypedCheck)
        event = made(
            lambda: InterimCheck(at=typed.at, found=typed.found, note=typed.note or None),
            {},
            "found",
        )
        return _record(desk, me, name, event)

    return posted.carry_out(act, lambda form: instrument_page(desk, me, name, form))


def _record(desk: InstrumentDesk, me: Visitor, name: str, event: Calibration | InterimCheck) -> str:
    desk.view(name, utc_now().date())  # an instrument that is not there has no field
    with at_field("at", RecordError):
        desk.add_event(name, event, me.name)
    return f"{_page(name)}#suspect"


def _page(name: str) -> str:
    return f"/instruments/{quote(name)}"
