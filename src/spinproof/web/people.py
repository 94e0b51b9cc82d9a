"""The owner's page of people and tablets."""

from typing import Annotated, Literal

from fastapi import APIRouter, Request
from pydantic import StringConstraints
from starlette.responses import RedirectResponse, Response

from spinproof.app.clock import utc_now
from spinproof.app.passwords import require_password
from spinproof.app.people import FrontDesk
from spinproof.model.access import (
    PASSWORD_LENGTH,
    PEOPLE,
    Action,
    Role,
    Thing,
    may,
    name_key,
)
from spinproof.model.errors import DocumentError, GateClosedError, RecordError
from spinproof.web.access import Cookies, Desk, Me
from spinproof.web.forms import FieldError, Form, Line, Posted, Typed, at_field, blank
from spinproof.web.rendering import render
from spinproof.web.sign_in import (
    TABLET_COOKIE_S,
    Secret,
    require_same,
    set_cookie,
    signed_in,
    within,
)
from spinproof.web.visitor import Visitor

router = APIRouter()


PersonRole = Literal[Role.OWNER, Role.TECHNICIAN, Role.INSPECTOR, Role.PRESENTER]


class NewPerson(Typed):
    """Somebody who works with the records."""

    name: Line
    role: PersonRole


class SecondPerson(Typed):
    """Somebody who signs beside the owner; the owner's own password where there is none yet."""

    name: Line
    role: PersonRole
    password: Secret
    password_again: Secret
    own_password: Secret = ""
    own_password_again: Secret = ""
    then: Annotated[str, StringConstraints(max_length=2000)] = "/people"


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


@router.get("/second-person")
def show_second(me: Me, then: str = "/people") -> Response:
    """Ask for somebody who can sign beside the owner."""
    return second_page(me, blank(me, "/second-person", then=within(then), role=Role.INSPECTOR))


def second_page(me: Visitor, form: Form) -> Response:
    """Give the page that adds a second person in one step."""
    return render(
        "second_person.html",
        me=me,
        form=form,
        roles=[role.value for role in PEOPLE if may(role, Action.DECIDE, Thing.GATE).allowed],
        needs_own=me.person is not None and me.person.password_since is None,
        shortest=PASSWORD_LENGTH.start,
        simulated=False,
    )


@router.post("/second-person")
def add_second(request: Request, posted: Posted, desk: Desk, me: Me) -> Response:
    """Take a second person in, and let the owner stay signed in."""

    def act() -> Response:
        typed = posted.read(SecondPerson)
        require_same(typed.password, typed.password_again)
        if me.automatic:
            _check_own(typed, me)
        if name_key(typed.name) == name_key(me.name):
            raise FieldError({"name": "That is you: nobody verifies their own work."})
        with at_field("name", RecordError), at_field("password", DocumentError):
            desk.add_second(
                typed.name, typed.role, typed.password, me.name, utc_now(), typed.own_password
            )
        then = within(typed.then)
        if me.session is not None:
            return RedirectResponse(then, 303)
        return signed_in(request, desk, me.name, typed.own_password, then)

    return posted.answer(act, lambda form: second_page(me, form))


def _check_own(typed: SecondPerson, me: Visitor) -> None:
    """Refuse what cannot be the owner's first password.

    Raises
    ------
    FieldError
        Beside its field.
    """
    if typed.own_password != typed.own_password_again:
        raise FieldError({"own_password_again": "This is not the same as above."})
    with at_field("own_password", DocumentError):
        require_password(typed.own_password, me.name)


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
