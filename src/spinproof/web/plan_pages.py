"""Burn-in plans of a head: how they cover the envelope, what they take, and their edits."""

from pathlib import PurePath
from typing import Annotated, Literal
from urllib.parse import quote

from fastapi import APIRouter, Depends
from pydantic import Field
from starlette.responses import Response

from spinproof.app.plan_desk import (
    PlanDesk,
    choosing_anew,
    forbidding,
    keeping_out,
    moving,
    pinning,
)
from spinproof.figures.plan_coverage import coverage_matrix, fill_chart, warmth_chart
from spinproof.model.access import Thing
from spinproof.model.errors import DocumentError
from spinproof.model.plan import Ban, Bound, Budgets, Factor, Plan
from spinproof.web.access import Me
from spinproof.web.deeds import forms_of, may_write
from spinproof.web.forms import FieldError, Form, Line, Posted, PostedForm, Text, Typed, at_field
from spinproof.web.nouns import number_or_none
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()

RUNS = Annotated[int, Field(ge=8, le=200)]


class NewPlan(Typed):
    """What a plan is asked to hold."""

    name: Line
    runs: RUNS
    seed: Annotated[int, Field(ge=0, le=2**31)]
    time_h: Text = ""
    water_l: Text = ""
    nitrogen_m3: Text = ""


class Edited(Typed):
    """One edit of a plan."""

    what: Literal["pin", "let go", "move", "forbid", "choose anew"]
    number: Annotated[int, Field(ge=1)] = 1
    to: Annotated[int, Field(ge=1)] = 1
    seed: Annotated[int, Field(ge=0, le=2**31)] = 1


class KeptOut(Typed):
    """A region to keep out of."""

    factor: Factor
    low: Line
    high: Line


def plan_desk(shop: Shop) -> PlanDesk:
    """Give what makes and keeps plans."""
    return PlanDesk(shop.ledger)


Desk = Annotated[PlanDesk, Depends(plan_desk)]


@router.get("/heads/{head}/plans")
def show_plans(shop: Shop, desk: Desk, me: Me, head: str) -> Response:
    """Show the plans of a head, and the form for a new one."""
    return _plans(shop, desk, me, head)


def _plans(
    shop: Shop, desk: PlanDesk, me: Visitor, head: str, sent: Form | None = None
) -> Response:
    return render(
        "plans.html",
        head=shop.head(head),
        spec=desk.head(head),
        plans=desk.plans(head),
        form=forms_of(me, sent),
        may_write=may_write(me, Thing.RUNS),
        simulated=False,
    )


@router.post("/heads/{head}/plans")
def make(shop: Shop, desk: Desk, me: Me, posted: Posted, head: str) -> Response:
    """Make a plan and keep it."""

    def act() -> str:
        texts = _texts_of(posted, "recipe", "load")
        typed = posted.read(NewPlan)
        budgets = Budgets(
            time_h=number_or_none("time_h", typed.time_h),
            water_l=number_or_none("water_l", typed.water_l),
            nitrogen_m3=number_or_none("nitrogen_m3", typed.nitrogen_m3),
        )
        with at_field("recipe", DocumentError):
            made = desk.make(
                head,
                typed.name,
                texts["recipe"],
                texts["load"],
                runs=typed.runs,
                seed=typed.seed,
                budgets=budgets,
                by=me.name,
            )
        return page_of(head, made)

    return posted.carry_out(act, lambda form: _plans(shop, desk, me, head, form))


def _texts_of(posted: PostedForm, *names: str) -> dict[str, str]:
    """Read the text of each file that was chosen.

    Raises
    ------
    FieldError
        If a file is missing or no text; what is wrong with any is told together.
    """
    texts, wrong = {}, {}
    for name in names:
        file = posted.files.get(name)
        if file is None:
            wrong[name] = "Choose a TOML file."
            continue
        with file.file as stream:
            data = stream.read(1_000_000)
        try:
            texts[name] = data.decode("utf-8")
        except UnicodeDecodeError:
            place = PurePath(file.filename or "file").name[:120]
            wrong[name] = f"{place} is no text: choose a TOML file."
    if wrong:
        raise FieldError(wrong)
    return texts


@router.get("/heads/{head}/plans/{sha256}")
def show_plan(shop: Shop, desk: Desk, me: Me, head: str, sha256: str) -> Response:
    """Show a plan with its measures, its figure and its runs."""
    return _plan(shop, desk, me, head, sha256)


def _plan(
    shop: Shop, desk: PlanDesk, me: Visitor, head: str, sha256: str, sent: Form | None = None
) -> Response:
    view = desk.view(head, sha256)
    return render(
        "plan.html",
        head=shop.head(head),
        view=view,
        page=page_of(head, sha256),
        steps=steps_in_words(view.plan),
        open=any(c.closed_at is None for c in shop.head(head).campaigns),
        form=forms_of(me, sent),
        may_write=may_write(me, Thing.RUNS),
        simulated=False,
    )


@router.get("/heads/{head}/plans/{sha256}/coverage.svg")
def draw_coverage(desk: Desk, head: str, sha256: str) -> Response:
    """Draw how a plan lies in the envelope."""
    return Response(coverage_matrix(desk.coverage(head, sha256)), media_type="image/svg+xml")


@router.get("/heads/{head}/plans/{sha256}/fill.svg")
def draw_fill(desk: Desk, head: str, sha256: str) -> Response:
    """Draw how far feasible recipes lie from the runs of a plan."""
    return Response(fill_chart(desk.coverage(head, sha256)), media_type="image/svg+xml")


@router.get("/heads/{head}/plans/{sha256}/warmth.svg")
def draw_warmth(desk: Desk, head: str, sha256: str) -> Response:
    """Draw how warm drive and heater get along a plan."""
    return Response(warmth_chart(desk.forecast(head, sha256)), media_type="image/svg+xml")


@router.get("/heads/{head}/plans/{sha256}/plan_unit.csv")
def give_points(desk: Desk, head: str, sha256: str) -> Response:
    """Give the points of a plan in the unit cube, for anybody to measure."""
    return _csv(desk.tables(head, sha256)[0])


@router.get("/heads/{head}/plans/{sha256}/plan_levels.csv")
def give_levels(desk: Desk, head: str, sha256: str) -> Response:
    """Give the runs of a plan with their levels."""
    return _csv(desk.tables(head, sha256)[1])


@router.post("/heads/{head}/plans/{sha256}/edit")
def edit(shop: Shop, desk: Desk, me: Me, posted: Posted, head: str, sha256: str) -> Response:
    """Keep what an edit makes of a plan."""

    def act() -> str:
        typed = posted.read(Edited)
        edits = {
            "pin": pinning(typed.number, pinned=True),
            "let go": pinning(typed.number, pinned=False),
            "move": moving(typed.number, typed.to),
            "forbid": forbidding(typed.number),
            "choose anew": choosing_anew(typed.seed),
        }
        return page_of(head, desk.edit(head, sha256, edits[typed.what], me.name))

    return posted.carry_out(act, lambda form: _plan(shop, desk, me, head, sha256, form))


@router.post("/heads/{head}/plans/{sha256}/keep-out")
def keep_out(shop: Shop, desk: Desk, me: Me, posted: Posted, head: str, sha256: str) -> Response:
    """Keep a plan out of an interval of one factor."""

    def act() -> str:
        typed = posted.read(KeptOut)
        low, high = number_or_none("low", typed.low), number_or_none("high", typed.high)
        if low is None or high is None or not 0 <= low <= high:
            raise FieldError({"high": "Write two numbers from 0 on, the lower one first."})
        bound = Bound(factor=typed.factor, low=low, high=high)
        ban = Ban(name=f"{typed.factor} {low:g} to {high:g}", bounds=(bound,))
        return page_of(head, desk.edit(head, sha256, keeping_out(ban), me.name))

    return posted.carry_out(act, lambda form: _plan(shop, desk, me, head, sha256, form))


@router.post("/heads/{head}/plans/{sha256}/open")
def open_campaign(
    shop: Shop, desk: Desk, me: Me, posted: Posted, head: str, sha256: str
) -> Response:
    """Begin a burn-in under a plan."""

    def act() -> str:
        posted.read(Typed)
        desk.open_campaign(head, sha256, me.name)
        return f"/heads/{quote(head)}/burn-in"

    return posted.carry_out(act, lambda form: _plan(shop, desk, me, head, sha256, form))


def page_of(head: str, sha256: str) -> str:
    """Give the address of a plan."""
    return f"/heads/{quote(head)}/plans/{quote(sha256)}"


def _csv(text: str) -> Response:
    return Response(text, media_type="text/csv")


def steps_in_words(plan: Plan) -> dict[int, str]:
    """Give the steps of each run in few words: seconds at rpm."""
    return {
        run.number: ", ".join(f"{s.duration_s:g} s at {s.speed_rpm:g}" for s in run.recipe.steps)
        for run in plan.runs
    }
