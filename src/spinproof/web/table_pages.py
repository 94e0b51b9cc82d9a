"""The page that answers all positions of a unit in one table."""

from contextlib import AbstractContextManager
from typing import Annotated, Literal
from urllib.parse import quote

from fastapi import APIRouter, Query
from pydantic import create_model
from starlette.responses import Response

from spinproof.app.clock import utc_now
from spinproof.app.position_table import (
    UNANSWERED,
    Choice,
    RowAnswer,
    answer_positions,
    position_table,
)
from spinproof.model.errors import GateClosedError, RecordError, TagError
from spinproof.web.access import Me
from spinproof.web.deeds import TypedDeed, forms_of, may_write, with_camera
from spinproof.web.forms import FieldError, Form, Posted, Text, at_field
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()


@router.get("/as-found/{unit}")
def show_table(
    shop: Shop,
    me: Me,
    unit: str,
    done: Annotated[int | None, Query(ge=0)] = None,
    fill: Literal["yes", "no"] = "no",
) -> Response:
    """Show the positions of a unit as one table."""
    return table_page(shop, me, unit, done=done, fill=fill == "yes")


def table_page(
    shop: Shop,
    me: Visitor,
    unit: str,
    sent: Form | None = None,
    *,
    done: int | None = None,
    fill: bool = False,
) -> Response:
    """Give the page of the table, with a form that was sent as it stood."""
    table = position_table(shop.ledger, unit, utc_now().date())
    return with_camera(
        render(
            "position_table.html",
            table=table,
            page=table.page,
            job=shop.job(table.page.job),
            form=forms_of(me, sent),
            me=me,
            may_write=may_write(me),
            choice=Choice,
            done=done,
            fill=fill,
            simulated=False,
        )
    )


@router.post("/as-found/{unit}")
def answer_table(shop: Shop, me: Me, posted: Posted, unit: str) -> Response:
    """Take in what was said of the positions: all of it, or nothing."""

    def act() -> str:
        codes = [row.code for row in position_table(shop.ledger, unit, utc_now().date()).rows]
        typed = posted.read(_typed(codes))
        answers = {code: _answer(typed, code) for code in codes}
        if all(answer.choice in UNANSWERED for answer in answers.values()):
            raise FieldError({"rows": "No position is answered: choose what is so for one."})
        count = answer_positions(shop.ledger, unit, answers, typed.act(me), _beside)
        return f"/as-found/{quote(unit)}?done={count}"

    return posted.carry_out(act, lambda form: table_page(shop, me, unit, form))


def _typed(codes: list[str]) -> type[TypedDeed]:
    """Give what the form holds: three fields for each position."""
    fields = {f"choice-{code}": (Choice, Choice.LATER) for code in codes}
    texts = {f"{name}-{code}": (Text, "") for code in codes for name in ("tag", "note")}
    return create_model("TypedTable", __base__=TypedDeed, **fields, **texts)  # type: ignore[call-overload, no-any-return]  # the fields are made from data


def _answer(typed: TypedDeed, code: str) -> RowAnswer:
    given = typed.model_dump()
    return RowAnswer(given[f"choice-{code}"], given[f"tag-{code}"], given[f"note-{code}"])


def _beside(code: str) -> AbstractContextManager[None]:
    return at_field(f"choice-{code}", TagError, RecordError, GateClosedError)
