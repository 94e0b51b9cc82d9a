"""The burn-in page of a head: the plan run by run, from what is entered to what was judged."""

from collections.abc import Callable
from typing import Annotated, Literal
from urllib.parse import quote

from fastapi import APIRouter, Depends
from pydantic import Field
from starlette.responses import JSONResponse, Response

from spinproof.app.runner_desk import RunnerDesk
from spinproof.app.runner_state import SeriesOrder
from spinproof.model.access import Thing
from spinproof.model.attestation import NoteKind
from spinproof.web.access import Me
from spinproof.web.deeds import forms_of, may_write
from spinproof.web.forms import FieldError, Form, Line, Posted, PostedForm, Text, Typed
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()

SPEEDS = {"real time": 1.0, "10 times": 10.0, "60 times": 60.0, "as fast as it can": None}
"""How fast a virtual stand may go, in words."""


class TypedStart(Typed):
    """The next run at a real stand."""

    stand: Line
    entered: Literal["", "yes"] = ""


class TypedVirtual(Typed):
    """A series at a virtual stand."""

    runs: Annotated[int, Field(ge=1, le=200)]
    speed: Literal["real time", "10 times", "60 times", "as fast as it can"]


class TypedNote(Typed):
    """Something to note."""

    text: Text = ""


class TypedHandOver(Typed):
    """A note that must say something."""

    text: Line


class TypedMark(Typed):
    """A moment of a run."""

    run: Line
    time_s: Annotated[float, Field(ge=0)]
    text: Text = ""


class TypedEnd(Typed):
    """The run whose recording shall end."""

    run: Line


def runner_desk(shop: Shop) -> RunnerDesk:
    """Give what shows and makes the runs of a plan."""
    return RunnerDesk(shop.home, shop.ledger)


Runner = Annotated[RunnerDesk, Depends(runner_desk)]


@router.get("/heads/{head}/burn-in")
def show_burn_in(shop: Shop, runner: Runner, me: Me, head: str) -> Response:
    """Show where the burn-in of a head stands, and its next run."""
    return _page(shop, runner, me, head)


def _page(
    shop: Shop, runner: RunnerDesk, me: Visitor, head: str, sent: Form | None = None
) -> Response:
    shown = shop.head(head)
    return render(
        "burn_in.html",
        head=shown,
        view=runner.view(head),
        form=forms_of(me, sent),
        refused=sent.problem if sent else None,
        speeds=tuple(SPEEDS),
        may_write=may_write(me, Thing.RUNS),
        simulated=shown.job.simulated,
    )


@router.get("/api/heads/{head}/burn-in")
def tell_stage(runner: Runner, head: str) -> Response:
    """Tell what changes when the page has to be loaded anew."""
    return JSONResponse({"stage": runner.view(head).stage})


class Visit:
    """One visit to the burn-in page that does something."""

    def __init__(self, shop: Shop, runner: Runner, me: Me, posted: Posted, head: str) -> None:
        self.shop, self.runner, self.me = shop, runner, me
        self.posted: PostedForm = posted
        self.head = head

    def do(self, deed: Callable[[], object], then: str = "burn-in") -> Response:
        """Do it, and show the page again."""

        def act() -> str:
            deed()
            return f"/heads/{quote(self.head)}/{then}"

        return self.posted.carry_out(
            act, lambda form: _page(self.shop, self.runner, self.me, self.head, form)
        )

    def note(self, about: NoteKind, text: str) -> None:
        """Keep a note."""
        self.runner.note(self.head, about, text, self.me.name)


Here = Annotated[Visit, Depends(Visit)]


@router.post("/heads/{head}/burn-in/record")
def record(here: Here) -> Response:
    """Start to record the next planned run at a stand."""

    def deed() -> None:
        typed = here.posted.read(TypedStart)
        host, _, port = typed.stand.rpartition(":")
        if not host or not port.isdecimal() or not 0 < int(port) < 65536:
            raise FieldError({"stand": "Write host and port, for example stand-2:5020."})
        order = SeriesOrder(head=here.head, by=here.me.name, runs=1, host=host, port=int(port))
        here.runner.start(order, entered=typed.entered == "yes")

    return here.do(deed)


@router.post("/heads/{head}/burn-in/simulate")
def simulate(here: Here) -> Response:
    """Let the next planned runs be made by a virtual stand, one after the other."""

    def deed() -> None:
        typed = here.posted.read(TypedVirtual)
        order = SeriesOrder(
            head=here.head, by=here.me.name, runs=typed.runs, speed_up=SPEEDS[typed.speed]
        )
        here.runner.start(order, entered=False)

    return here.do(deed)


@router.post("/heads/{head}/burn-in/pause")
def pause(here: Here) -> Response:
    """Begin no further run until somebody resumes; a run that goes on is not touched."""
    return here.do(lambda: here.note(NoteKind.PAUSE, here.posted.read(TypedHandOver).text))


@router.post("/heads/{head}/burn-in/resume")
def resume(here: Here) -> Response:
    """Let the next run begin again."""
    return here.do(lambda: here.note(NoteKind.RESUME, here.posted.read(TypedNote).text))


@router.post("/heads/{head}/burn-in/hand-over")
def hand_over(here: Here) -> Response:
    """Keep what the next shift should know."""
    return here.do(lambda: here.note(NoteKind.HAND_OVER, here.posted.read(TypedHandOver).text))


@router.post("/heads/{head}/burn-in/end-recording")
def end_recording(here: Here) -> Response:
    """End the recording of a run; what was recorded is kept, and does not count."""

    def deed() -> None:
        run = here.posted.read(TypedEnd).run
        here.runner.end_recording(here.head, run, here.me.name)

    return here.do(deed)


@router.post("/heads/{head}/burn-in/end-campaign")
def end_campaign(here: Here) -> Response:
    """Close the campaign before it is complete."""

    def deed() -> None:
        why = here.posted.read(TypedHandOver).text
        here.runner.end_campaign(here.head, why, here.me.name)

    return here.do(deed)


@router.post("/heads/{head}/burn-in/mark")
def mark(here: Here) -> Response:
    """Mark a moment of a run, with or without words."""

    def deed() -> None:
        typed = here.posted.read(TypedMark)
        here.runner.note(
            here.head,
            NoteKind.MARK,
            typed.text,
            here.me.name,
            run=typed.run,
            time_s=round(typed.time_s, 3),
        )

    return here.do(deed)
