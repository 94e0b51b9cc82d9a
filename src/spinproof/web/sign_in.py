"""First visit, signing in and out, and one's own account."""

from typing import Annotated

from fastapi import APIRouter, Request
from pydantic import Field, StringConstraints
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from spinproof.app.clock import utc_now
from spinproof.app.people import FrontDesk, PersonEntry
from spinproof.model.access import (
    PASSWORD_LENGTH,
    PIN_LENGTH,
    Action,
    Condition,
    Thing,
    may,
    name_key,
)
from spinproof.model.errors import AccessError, DocumentError, GateClosedError, RecordError
from spinproof.web.access import Cookies, Desk, Me, place_of
from spinproof.web.forms import FieldError, Form, Line, Posted, Typed, at_field, blank
from spinproof.web.rendering import render
from spinproof.web.visitor import Visitor

router = APIRouter()

Secret = Annotated[str, StringConstraints(max_length=PASSWORD_LENGTH.stop - 1)]
LATEST_COOKIE_S = 24 * 3600
TABLET_COOKIE_S = 365 * 24 * 3600


class FirstOwner(Typed):
    """Who opens the shop."""

    name: Line
    password: Secret = ""
    password_again: Secret = ""


class SignIn(Typed):
    """Name and password."""

    name: Line
    password: Secret
    code: str = Field(default="", max_length=40)
    then: str = Field(default="/", max_length=2000)


class OwnProof(Typed):
    """The password once more."""

    proof: Secret
    then: str = Field(default="/account", max_length=2000)


class NewPassword(Typed):
    """A password, typed twice."""

    password: Secret
    password_again: Secret


class NewPin(Typed):
    """A PIN."""

    pin: Annotated[str, StringConstraints(strip_whitespace=True, max_length=20)]


class Signature(Typed):
    """Who signs, and by what; the end of every form that signs has these two fields."""

    signer: Line
    proof: Secret = ""


def signed_by(
    typed: Signature,
    desk: FrontDesk,
    me: Visitor,
    action: Action,
    thing: Thing,
    *,
    own_work: bool = False,
    met: tuple[Condition, ...] = (),
) -> PersonEntry:
    """Take a signature: who it is, proved now, and that they may.

    On a shared tablet the one who signs need not be the one who is signed in: the route of such a
    form needs no more at the door than that the page may be read.

    Parameters
    ----------
    typed : Signature
        Name, and PIN or password.
    desk : FrontDesk
        Knows the people.
    me : Visitor
        Who is signed in.
    action, thing : Action, Thing
        What is signed.
    own_work : bool
        Whether it is about the signer's own work.
    met : tuple of Condition
        Conditions that hold.

    Returns
    -------
    PersonEntry
        Who signed.

    Raises
    ------
    AccessError
        If the signer may not do this.
    """
    if me.automatic and me.person and name_key(typed.signer) == name_key(me.name):
        signer = me.person
    else:
        signer = desk.prove(typed.signer, typed.proof, me.place, utc_now(), me.session)
    held = (*met, Condition.PROVED)
    decision = may(signer.role, action, thing, own_work=own_work, met=held)
    if not decision.allowed:
        raise AccessError(
            decision.reason.removesuffix("."),
            where=f"signature of {signer.name}",
            mend="Have somebody sign who may.",
        )
    return signer


def within(path: str) -> str:
    """Give a path of these pages; anything that leads elsewhere becomes the shop's page.

    Examples
    --------
    >>> within("/runs/1"), within("//evil.example"), within("https://evil.example")
    ('/runs/1', '/', '/')
    """
    plain = path.isascii() and path.isprintable() and "\\" not in path
    return path if plain and path.startswith("/") and not path.startswith("//") else "/"


@router.get("/welcome")
def show_welcome(desk: Desk, me: Me) -> Response:
    """Ask the first visitor for a name.

    Raises
    ------
    HTTPException
        If somebody was here before.
    """
    if me.place.beyond or desk.people():
        raise HTTPException(410)
    return welcome_page(blank(me, "/welcome"))


def welcome_page(form: Form) -> Response:
    """Show the form of the first visit."""
    return render("welcome.html", form=form, shortest=PASSWORD_LENGTH.start, simulated=False)


@router.post("/welcome")
def open_shop(posted: Posted, desk: Desk, me: Me) -> Response:
    """Make the first visitor the owner.

    Raises
    ------
    HTTPException
        If the request comes from another machine.
    """
    if me.place.beyond:
        raise HTTPException(410)

    if desk.people():
        return RedirectResponse("/", 303)

    def act() -> str:
        typed = posted.read(FirstOwner)
        require_same(typed.password, typed.password_again)
        with at_field("password", DocumentError), at_field("name", RecordError):
            desk.first_owner(typed.name, utc_now(), typed.password)
        return "/"

    return posted.carry_out(act, welcome_page)


def require_same(password: str, again: str) -> None:
    """Refuse a password that was typed twice in two ways.

    Raises
    ------
    FieldError
        If they differ.
    """
    if password != again:
        raise FieldError({"password_again": "This is not the same as above."})


@router.get("/sign-in")
def show_sign_in(desk: Desk, me: Me, then: str = "/") -> Response:
    """Ask for name and password."""
    return sign_in_page(desk, me, blank(me, "/sign-in", then=within(then)))


def sign_in_page(desk: FrontDesk, me: Visitor, form: Form) -> Response:
    """Show the form of the sign-in; names are offered at the shop's own devices alone."""
    trusted = me.device is not None or not me.place.beyond
    able = [p.name for p in desk.people() if p.active and p.password_since] if trusted else []
    asks_code = me.place.beyond and desk.asks_code
    return render("sign_in.html", form=form, names=able, asks_code=asks_code, simulated=False)


@router.post("/sign-in")
def sign_in(request: Request, posted: Posted, desk: Desk, me: Me) -> Response:
    """Sign somebody in."""

    def act() -> Response:
        typed = posted.read(SignIn)
        return signed_in(request, desk, typed.name, typed.password, within(typed.then), typed.code)

    return posted.answer(act, lambda form: sign_in_page(desk, me, form))


def signed_in(
    request: Request, desk: FrontDesk, name: str, password: str, then: str, code: str = ""
) -> Response:
    """Sign somebody in, and lead them on.

    Raises
    ------
    SignInError
        If name and password do not belong together.
    """
    secret, _ = desk.sign_in(name, password, place_of(request), utc_now(), code)
    answer = RedirectResponse(then, 303)
    cookies: Cookies = request.app.state.cookies
    set_cookie(answer, cookies, cookies.session, secret, LATEST_COOKIE_S)
    return answer


def set_cookie(answer: Response, cookies: Cookies, name: str, secret: str, age_s: int) -> None:
    """Hand a secret to the browser, where no script can read it."""
    answer.set_cookie(
        name,
        secret,
        max_age=age_s,
        path="/",
        secure=cookies.secure,
        httponly=True,
        samesite="lax",
    )


@router.post("/sign-out")
def sign_out(request: Request, posted: Posted, desk: Desk, me: Me) -> Response:
    """Sign this session out."""

    def act() -> Response:
        if me.session is not None:
            desk.sign_out(me.session, utc_now())
        answer = RedirectResponse("/sign-in", 303)
        cookies: Cookies = request.app.state.cookies
        answer.delete_cookie(
            cookies.session, path="/", secure=cookies.secure, httponly=True, samesite="lax"
        )
        return answer

    return posted.answer(act, lambda form: sign_in_page(desk, me, form))


@router.get("/account")
def show_account(desk: Desk, me: Me, then: str = "/account") -> Response:
    """Show one's own account."""
    return account_page(desk, me, then=then)


def account_page(
    desk: FrontDesk, me: Visitor, form: Form | None = None, then: str = "/account"
) -> Response:
    """Show one's own account, with the form that could not be carried out."""
    forms = {
        name: form if form and form.action == action else blank(me, action, then=within(then))
        for name, action in (
            ("proof", "/account/proof"),
            ("password", "/account/password"),
            ("pin", "/account/pin"),
            ("everywhere", "/account/sign-out-everywhere"),
            ("out", "/sign-out"),
        )
    }
    return render(
        "account.html",
        me=me,
        forms_of=forms,
        sessions=desk.sessions(me.name, utc_now()),
        shortest=PASSWORD_LENGTH.start,
        digits=PIN_LENGTH,
        simulated=False,
    )


@router.post("/account/proof")
def prove(posted: Posted, desk: Desk, me: Me) -> Response:
    """Take the password once more, for what needs a fresh proof."""

    def act() -> Response:
        typed = posted.read(OwnProof)
        desk.prove(me.name, typed.proof, me.place, utc_now(), me.session)
        return RedirectResponse(within(typed.then), 303)

    return posted.answer(act, lambda form: account_page(desk, me, form))


@router.post("/account/password")
def set_own_password(posted: Posted, desk: Desk, me: Me) -> Response:
    """Set one's own password; every session ends, this one too."""

    def act() -> str:
        typed = posted.read(NewPassword)
        require_same(typed.password, typed.password_again)
        with at_field("password", DocumentError):
            desk.set_password(me.name, typed.password, me.name, utc_now())
        return "/sign-in"

    return posted.carry_out(act, lambda form: account_page(desk, me, form))


@router.post("/account/pin")
def set_own_pin(posted: Posted, desk: Desk, me: Me) -> Response:
    """Set one's own PIN."""

    def act() -> str:
        typed = posted.read(NewPin)
        with at_field("pin", DocumentError, GateClosedError):
            desk.set_pin(me.name, typed.pin, me.name, utc_now())
        return "/account"

    return posted.carry_out(act, lambda form: account_page(desk, me, form))


@router.post("/account/sign-out-everywhere")
def sign_out_everywhere(posted: Posted, desk: Desk, me: Me) -> Response:
    """Sign out on all machines."""

    def act() -> str:
        desk.sign_out_everywhere(me.name, me.name, utc_now())
        return "/sign-in"

    return posted.carry_out(act, lambda form: account_page(desk, me, form))
