"""The page of a head's nonconformances, waivers and bridged interlocks: open ones first."""

from datetime import date
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends
from starlette.responses import Response

from spinproof.app.clock import utc_now
from spinproof.app.matter_deeds import MatterDesk
from spinproof.model.access import Action, Thing
from spinproof.model.check import Checkpoint
from spinproof.model.errors import AccessError, GateClosedError, RecordError
from spinproof.model.matter import Bypass, Nonconformance, StepDetail, Waiver
from spinproof.model.part import Disposition, Severity
from spinproof.web.access import Me
from spinproof.web.deeds import MARKS, TypedDeed, forms_of, may_write
from spinproof.web.forms import FieldError, Form, Line, Posted, Text, at_field
from spinproof.web.nouns import made
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()


class TypedNonconformance(TypedDeed):
    """Something that does not conform."""

    text: Line
    severity: Severity
    position: Text = ""
    checkpoint: Text = ""
    check: Text = ""


class TypedWaiver(TypedDeed):
    """A departure that is asked for; the reason is the deed's."""

    subject: Line
    risk: Line
    until: Text = ""


class TypedBypass(TypedDeed):
    """An interlock that is bridged; why is the deed's."""

    interlock: Line


class TypedStep(TypedDeed):
    """A step; which of the rest counts follows from it."""

    state: Line
    disposition: Text = ""
    cause: Text = ""
    token: Text = ""


def matter_desk(shop: Shop) -> MatterDesk:
    """Give what records nonconformances and waivers."""
    return MatterDesk(shop.ledger)


Matters = Annotated[MatterDesk, Depends(matter_desk)]
"""What a route asks for nonconformances and waivers."""


@router.get("/heads/{head}/matters")
def show_matters(shop: Shop, matters: Matters, me: Me, head: str) -> Response:
    """Show the nonconformances and waivers of a head."""
    return matter_page(shop, matters, me, head)


def matter_page(
    shop: Shop, matters: MatterDesk, me: Visitor, head: str, sent: Form | None = None
) -> Response:
    """Give the page of a head's matters, with a form that was sent as it stood."""
    board = matters.board(head, utc_now().date())
    return render(
        "matters.html",
        board=board,
        job=shop.job(board.job),
        form=forms_of(me, sent),
        may_write=may_write(me, Thing.RUNS),
        severities=tuple(Severity),
        dispositions=("", *Disposition),
        checkpoints=("", *Checkpoint),
        marks=MARKS,
        simulated=False,
    )


@router.post("/heads/{head}/nonconformances")
def open_nonconformance(
    shop: Shop, matters: Matters, me: Me, posted: Posted, head: str
) -> Response:
    """Open a nonconformance."""

    def act() -> str:
        typed = posted.read(TypedNonconformance)
        about = made(
            lambda: Nonconformance(
                text=typed.text,
                severity=typed.severity,
                position=typed.position or None,
                checkpoint=_checkpoint(typed.checkpoint),
                check=typed.check or None,
            ),
            {},
            "text",
        )
        return _place(head, matters.open(head, about, typed.act(me)))

    return posted.carry_out(act, lambda form: matter_page(shop, matters, me, head, form))


def _checkpoint(text: str) -> Checkpoint | None:
    if text and text not in set(Checkpoint):
        raise FieldError({"checkpoint": f"Choose one of: {', '.join(Checkpoint)}."})
    return Checkpoint(text) if text else None


@router.post("/heads/{head}/waivers")
def ask_for_waiver(shop: Shop, matters: Matters, me: Me, posted: Posted, head: str) -> Response:
    """Ask for a waiver; another person approves it, and then the customer."""

    def act() -> str:
        typed = posted.read(TypedWaiver)
        known = matters.board(head, utc_now().date()).subjects
        if typed.subject not in known:
            raise FieldError({"subject": "Name a nonconformance, a check or a checkpoint here."})
        about = made(
            lambda: Waiver(
                subject=typed.subject, why=typed.why, risk=typed.risk, until=_day(typed.until)
            ),
            {},
            "subject",
        )
        return _place(head, matters.open(head, about, typed.act(me)))

    return posted.carry_out(act, lambda form: matter_page(shop, matters, me, head, form))


@router.post("/heads/{head}/bypasses")
def record_bypass(shop: Shop, matters: Matters, me: Me, posted: Posted, head: str) -> Response:
    """Write down that an interlock is bridged; every gate stays closed while it is."""

    def act() -> str:
        typed = posted.read(TypedBypass)
        about = made(lambda: Bypass(interlock=typed.interlock, why=typed.why), {}, "interlock")
        return _place(head, matters.open(head, about, typed.act(me)))

    return posted.carry_out(act, lambda form: matter_page(shop, matters, me, head, form))


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise FieldError({"until": "Write a date as 2031-05-06."}) from None


@router.post("/heads/{head}/matters/{name}")
def step_matter(
    shop: Shop, matters: Matters, me: Me, posted: Posted, head: str, name: str
) -> Response:
    """Take a nonconformance, a waiver or a bridge a step further."""

    def act() -> str:
        typed = posted.read(TypedStep)
        detail = StepDetail(
            disposition=_disposition(typed.disposition),
            cause=typed.cause or None,
            token=typed.token or None,
        )
        _require_right(matters, me, name, typed.state)
        with at_field("state", GateClosedError, RecordError):
            matters.step(name, typed.state, detail, typed.act(me))
        return _place(head, name)

    return posted.carry_out(act, lambda form: matter_page(shop, matters, me, head, form))


def _disposition(text: str) -> Disposition | None:
    if text and text not in set(Disposition):
        raise FieldError({"disposition": f"Choose one of: {', '.join(Disposition)}."})
    return Disposition(text) if text else None


def _require_right(matters: MatterDesk, me: Visitor, name: str, state: str) -> None:
    """Refuse a step that is only for who decides on gates.

    Raises
    ------
    AccessError
        If the visitor does not.
    """
    decision = me.may(Action.DECIDE, Thing.GATE)
    if matters.must_decide(name, state) and not decision.allowed:
        raise AccessError(
            decision.reason.removesuffix("."),
            where=f'{name}, "{state}"',
            mend="Ask the owner or an inspector.",
        )


def _place(head: str, name: str) -> str:
    return f"/heads/{quote(head)}/matters#{quote(name)}"
