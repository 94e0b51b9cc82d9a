"""The page of a job's scope: what was recommended, what the customer chose, and its changes."""

from contextlib import AbstractContextManager
from typing import Literal
from urllib.parse import quote

from fastapi import APIRouter
from pydantic import create_model
from starlette.responses import Response

from spinproof.app.part_deeds import Act, ChangeOrderState
from spinproof.app.part_views import evidence_words
from spinproof.app.scope_views import scope_of
from spinproof.model.access import Action, Thing
from spinproof.model.errors import GateClosedError, RecordError
from spinproof.model.handover import ScopeState
from spinproof.model.matter import ChangeOrder
from spinproof.web.access import Me
from spinproof.web.deeds import MARKS, Parts, forms_of, may_write
from spinproof.web.forms import FieldError, Form, Line, Posted, Text, Typed, at_field
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()
NO_ANSWER = "no answer yet"
ANSWERS = tuple(
    state.value
    for state in (
        ScopeState.ACCEPTED,
        ScopeState.DECLINED,
        ScopeState.CUSTOMER_SUPPLIED,
        ScopeState.DEFERRED,
    )
)
"""What a customer may say to a line."""


class NewLine(Typed):
    """A line that is recommended."""

    text: Line
    position: Text = ""
    consequence: Line


class LineStep(Typed):
    """A step of a line."""

    state: ScopeState
    order: Text = ""
    why: Line
    consequence: Text = ""
    evidence: Text = ""


class NewOrder(Typed):
    """A change order."""

    text: Line
    price: Text = ""
    days: Text = ""


class Answer(Typed):
    """What the customer said to a change order."""

    state: ChangeOrderState
    token: Text = ""
    why: Line


@router.get("/jobs/{job}/scope")
def show_scope(shop: Shop, me: Me, job: str) -> Response:
    """Show the scope of a job in two columns, its exclusions first."""
    return scope_page(shop, me, job)


def scope_page(shop: Shop, me: Visitor, job: str, sent: Form | None = None) -> Response:
    """Give the page of a job's scope, with a form that was sent as it stood."""
    view = scope_of(shop.ledger, job)
    return render(
        "scope.html",
        view=view,
        form=forms_of(me, sent),
        may_write=may_write(me, Thing.JOB),
        may_decide=me.may(Action.DECIDE, Thing.JOB).allowed,
        evidence=tuple(evidence_words(name, sha256) for name, sha256 in view.evidence),
        answers=(NO_ANSWER, *ANSWERS),
        marks=MARKS,
        simulated=False,
    )


@router.post("/jobs/{job}/units/{unit}/scope")
def recommend(shop: Shop, parts: Parts, me: Me, posted: Posted, job: str, unit: str) -> Response:
    """Recommend a line of the scope."""

    def act() -> str:
        typed = posted.read(NewLine)
        code = typed.position.partition(" ")[0] or None
        item = parts.propose(job, unit, typed.text, code, typed.consequence, me.name)
        return f"{_page(job)}#{quote(item)}"

    return posted.carry_out(act, lambda form: scope_page(shop, me, job, form))


@router.post("/jobs/{job}/scope/{item}")
def step_line(shop: Shop, parts: Parts, me: Me, posted: Posted, job: str, item: str) -> Response:
    """Take a line of the scope a step further."""

    def act() -> str:
        typed = posted.read(LineStep)
        deed = Act(me.name, typed.why, typed.evidence)
        with at_field("state", GateClosedError):
            parts.change_scope(
                job, item, typed.state, deed, typed.consequence or None, typed.order or None
            )
        return f"{_page(job)}#{quote(item)}"

    return posted.carry_out(act, lambda form: scope_page(shop, me, job, form))


@router.post("/jobs/{job}/answers")
def answer_lines(shop: Shop, parts: Parts, me: Me, posted: Posted, job: str) -> Response:
    """Record what the customer answered, for many lines at once."""

    def act() -> str:
        items = [row.entry.item for row in scope_of(shop.ledger, job).undecided]
        typed = posted.read(_answers(items)).model_dump()
        given = {
            item: (ScopeState(typed[f"state-{item}"]), typed[f"consequence-{item}"])
            for item in items
            if typed[f"state-{item}"] != NO_ANSWER
        }
        if not given:
            raise FieldError({"lines": "No line is answered: choose what the customer said."})
        deed = Act(me.name, typed["why"])
        parts.answer_scope(job, given, deed, _beside)
        return f"{_page(job)}#next"

    return posted.carry_out(act, lambda form: scope_page(shop, me, job, form))


def _answers(items: list[str]) -> type[Typed]:
    """Give what the form holds: two fields for each line that waits."""
    states = {f"state-{item}": (Literal[(NO_ANSWER, *ANSWERS)], NO_ANSWER) for item in items}
    follows = {f"consequence-{item}": (Text, "") for item in items}
    return create_model("TypedAnswers", __base__=Typed, why=(Line, ...), **states, **follows)  # type: ignore[call-overload, no-any-return]  # the fields are made from data


def _beside(item: str) -> AbstractContextManager[None]:
    return at_field(f"state-{item}", GateClosedError, RecordError)


@router.post("/jobs/{job}/change-orders")
def propose_order(shop: Shop, parts: Parts, me: Me, posted: Posted, job: str) -> Response:
    """Propose a change of what was agreed."""

    def act() -> str:
        typed = posted.read(NewOrder)
        order = ChangeOrder(
            text=typed.text, price_delta=typed.price or None, days_delta=_days(typed.days)
        )
        name = parts.open_change_order(job, order, me.name)
        return f"{_page(job)}#{quote(name)}"

    return posted.carry_out(act, lambda form: scope_page(shop, me, job, form))


@router.post("/jobs/{job}/change-orders/{name}")
def answer_order(shop: Shop, parts: Parts, me: Me, posted: Posted, job: str, name: str) -> Response:
    """Record what the customer said to a change order."""

    def act() -> str:
        typed = posted.read(Answer)
        with at_field("token", GateClosedError):
            parts.answer_change_order(
                name, typed.state, typed.token or None, Act(me.name, typed.why)
            )
        return f"{_page(job)}#{quote(name)}"

    return posted.carry_out(act, lambda form: scope_page(shop, me, job, form))


def _days(text: str) -> int | None:
    if not text:
        return None
    try:
        return int(text.replace("−", "-"))
    except ValueError:
        raise FieldError({"days": "Write a whole number of days, for example 3 or -2."}) from None


def _page(job: str) -> str:
    return f"/jobs/{quote(job)}/scope"
