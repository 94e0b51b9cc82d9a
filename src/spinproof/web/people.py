"""The owner's page of people and tablets."""

from typing import Annotated, Literal

from fastapi import APIRouter, Request
from pydantic import StringConstraints
from starlette.responses import RedirectResponse, Response

from spinproof.app.clock import utc_now
from spinproof.app.people import FrontDesk
from spinproof.model.access import PASSWORD_LENGTH, PEOPLE, Role
from spinproof.model.errors import DocumentError, GateClosedError, RecordError
from spinproof.web.access import Cookies, Desk, Me
from spinproof.web.forms import Form, Line, Posted, Typed, at_field, blank
from spinproof.web.rendering import render
from spinproof.web.sign_in import TABLET_COOKIE_S, Secret, set_cookie
from spinproof.web.visitor import Visitor

router = APIRouter()


PersonRole = Literal[Role.OWNER, Role.TECHNICIAN, Role.INSPECTOR, Role.PRESENTER]


class NewPerson(Typed):
    """Somebody who works with the records."""

    name: Line
    role: PersonRole


class ChangedPerson(Typed):
    """Another role, or a rest."""

    role: PersonRole
    active: Annotated[str, StringConstraints(pattern="^(yes|no)$")]
    why: Line


class FirstPassword(Typed):
    """A password that the owner hands over."""

    password: Secret


class NewTablet(Typed):
    """What is written on a tablet."""

    tablet: Line


class Retirement(Typed):
    """Why a tablet goes."""

    why: Line


@router.get("/people")
def show_people(desk: Desk, me: Me) -> Response:
    """Show everybody, and the shop's tablets."""
    return people_page(desk, me)


def people_page(desk: FrontDesk, me: Visitor, sent: Form | None = None) -> Response:
    """Show everybody, with the form that could not be carried out."""

    def form(action: str, **values: str) -> Form:
        return sent if sent and sent.action == action else blank(me, action, **values)

    return render(
        "people.html",
        me=me,
        people=desk.people(),
        tablets=desk.devices(),
        roles=[role.value for role in PEOPLE],
        usual=Role.TECHNICIAN.value,
        form=form,
        shortest=PASSWORD_LENGTH.start,
        simulated=False,
    )


@router.post("/people")
def add_person(posted: Posted, desk: Desk, me: Me) -> Response:
    """Take somebody in."""

    def act() -> str:
        typed = posted.read(NewPerson)
        with at_field("name", RecordError):
            desk.add_person(typed.name, typed.role, me.name, utc_now())
        return "/people"

    return posted.carry_out(act, lambda form: people_page(desk, me, form))


@router.post("/people/{name}")
def change_person(name: str, posted: Posted, desk: Desk, me: Me) -> Response:
    """Give somebody another role, or let them rest."""

    def act() -> str:
        typed = posted.read(ChangedPerson)
        active = typed.active == "yes"
        desk.change_person(name, typed.role, active=active, why=typed.why, by=me.name, at=utc_now())
        return "/people"

    return posted.carry_out(act, lambda form: people_page(desk, me, form))


@router.post("/people/{name}/password")
def set_password(name: str, posted: Posted, desk: Desk, me: Me) -> Response:
    """Give somebody a password to begin with."""

    def act() -> str:
        typed = posted.read(FirstPassword)
        with at_field("password", DocumentError, GateClosedError):
            desk.set_password(name, typed.password, me.name, utc_now())
        return "/people"

    return posted.carry_out(act, lambda form: people_page(desk, me, form))


@router.post("/tablets")
def enrol_tablet(request: Request, posted: Posted, desk: Desk, me: Me) -> Response:
    """Make the device at hand one of the shop's tablets."""

    def act() -> Response:
        typed = posted.read(NewTablet)
        with at_field("tablet", RecordError):
            secret = desk.enrol_device(typed.tablet, me.name, utc_now())
        answer = RedirectResponse("/people", 303)
        cookies: Cookies = request.app.state.cookies
        set_cookie(answer, cookies, cookies.device, secret, TABLET_COOKIE_S)
        return answer

    return posted.answer(act, lambda form: people_page(desk, me, form))


@router.post("/tablets/{name}/retire")
def retire_tablet(name: str, posted: Posted, desk: Desk, me: Me) -> Response:
    """Take a tablet out of use."""

    def act() -> str:
        typed = posted.read(Retirement)
        desk.retire_device(name, typed.why, me.name, utc_now())
        return "/people"

    return posted.carry_out(act, lambda form: people_page(desk, me, form))
