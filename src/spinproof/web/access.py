"""The door: who asks is known before any page is made, and each route says what it needs.

A route that is missing in `NEEDS` answers nobody.
"""

from dataclasses import dataclass
from typing import Annotated, NoReturn
from urllib.parse import quote

from fastapi import Depends, Request
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.routing import compile_path

from spinproof.app.clock import utc_now
from spinproof.app.people import FrontDesk, Place
from spinproof.model.access import Action, Condition, Thing, may
from spinproof.model.errors import AccessError, SignInError
from spinproof.web.guard import LOCAL_HOSTS, host_of
from spinproof.web.visitor import Visitor, current, token_of

FORWARDED = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")
"""Headers of a go-between: who asks is then not at this machine, whatever the host says."""

EVIDENCE_BYTES = 64_000_000
"""Largest file that comes in as evidence over a page, with its form."""
SHEET_BYTES = 10_000_000
"""Largest spreadsheet, with its form; a larger one is refused before it is read."""


@dataclass(frozen=True)
class Need:
    """What a route does, and to what."""

    action: Action
    thing: Thing
    inside: frozenset[Condition] = frozenset()
    """Conditions that cannot be known at the door; the route checks them itself."""
    most_bytes: int = 1_000_000
    """Size of the largest body that the route takes."""


@dataclass(frozen=True)
class Cookies:
    """Names of the cookies; two shops on one machine do not share them."""

    session: str
    device: str
    secure: bool

    @classmethod
    def of(cls, mark: str, *, secure: bool) -> "Cookies":
        """Give the names for a shop; over TLS the browser then accepts them from this host only."""
        prefix = "__Host-" if secure else ""
        return cls(f"{prefix}spinproof-{mark}", f"{prefix}spinproof-tablet-{mark}", secure)


def read(thing: Thing, *inside: Condition) -> Need:
    """Name a route that shows a thing."""
    return Need(Action.READ, thing, frozenset(inside))


def write(thing: Thing, *inside: Condition) -> Need:
    """Name a route that changes a thing."""
    return Need(Action.WRITE, thing, frozenset(inside))


def decide(thing: Thing, *inside: Condition) -> Need:
    """Name a route that decides on a thing."""
    return Need(Action.DECIDE, thing, frozenset(inside))


NEEDS: dict[str, Need] = {
    "GET /": read(Thing.JOB),
    "GET /take-in": write(Thing.JOB),
    "POST /take-in": write(Thing.JOB),
    "GET /jobs/{job}": read(Thing.JOB),
    "GET /heads/{head}": read(Thing.JOB),
    "GET /heads/{head}/strip.svg": read(Thing.JOB),
    "GET /heads/{head}/drift/{number}.svg": read(Thing.JOB),
    "GET /runs/{run}": read(Thing.RUNS),
    "GET /runs/{run}/figure.svg": read(Thing.RUNS),
    "GET /api/runs/{run}/trace": read(Thing.BLOCKS),
    "GET /live/{head}": read(Thing.RUNS),
    "GET /api/live/{head}": read(Thing.RUNS),
    "GET /dossiers": read(Thing.JOB),
    "GET /dossiers/{package}/document": read(Thing.JOB),
    "GET /words": read(Thing.DOOR),
    "GET /welcome": read(Thing.DOOR),
    "POST /welcome": write(Thing.DOOR),
    "GET /sign-in": read(Thing.DOOR),
    "POST /sign-in": write(Thing.DOOR),
    "POST /sign-out": write(Thing.DOOR),
    "GET /account": read(Thing.ACCOUNT),
    "POST /account/proof": read(Thing.ACCOUNT),  # writes no more than the session
    "POST /account/password": write(Thing.ACCOUNT),
    "POST /account/pin": write(Thing.ACCOUNT),
    "POST /account/sign-out-everywhere": read(Thing.ACCOUNT),  # and so does this
    "GET /people": read(Thing.SHOP),
    "POST /people": write(Thing.SHOP),
    "GET /second-person": read(Thing.SHOP),
    "POST /second-person": write(Thing.SHOP),
    "POST /people/{name}": write(Thing.SHOP),
    "POST /people/{name}/password": write(Thing.SHOP),
    "POST /tablets": write(Thing.SHOP),
    "POST /tablets/{name}/retire": write(Thing.SHOP),
    "GET /heads/{head}/gates": read(Thing.RUNS),
    "GET /heads/{head}/gates/{checkpoint}": read(Thing.RUNS),
    "POST /heads/{head}/gates/{checkpoint}": read(Thing.RUNS),  # who signs is proved there
    "POST /heads/{head}/gates/{checkpoint}/evidence": Need(
        Action.WRITE, Thing.RUNS, most_bytes=EVIDENCE_BYTES
    ),
    "GET /heads/{head}/checks/{check}": read(Thing.RUNS),
    "POST /heads/{head}/checks/{check}/readings/{number}": write(Thing.RUNS),
    "POST /heads/{head}/checks/{check}/readings/{number}/take-back": write(Thing.RUNS),
    "POST /heads/{head}/checks/{check}/evidence": Need(
        Action.WRITE, Thing.RUNS, most_bytes=EVIDENCE_BYTES
    ),
    "POST /heads/{head}/checks/{check}/finish": write(Thing.RUNS),
    "GET /heads/{head}/facts": read(Thing.RUNS),
    "POST /heads/{head}/facts/decontamination": write(Thing.RUNS),
    "POST /heads/{head}/facts/balance": write(Thing.RUNS),
    "POST /heads/{head}/facts/room-air": write(Thing.RUNS),
    "POST /heads/{head}/facts/clock-check": write(Thing.RUNS),
    "POST /heads/{head}/facts/paper": write(Thing.RUNS),
    "POST /heads/{head}/facts/agreed-limit": write(Thing.LIMITS),
    "POST /heads/{head}/facts/unloading": write(Thing.RUNS),
    "GET /heads/{head}/matters": read(Thing.RUNS),
    "POST /heads/{head}/matters/{name}": write(Thing.RUNS),  # who decides is looked at there
    "POST /heads/{head}/nonconformances": write(Thing.RUNS),
    "POST /heads/{head}/waivers": write(Thing.RUNS),
    "POST /heads/{head}/bypasses": write(Thing.RUNS),
    "GET /instruments": read(Thing.RUNS),
    "POST /instruments": write(Thing.RUNS),
    "GET /instruments/{name}": read(Thing.RUNS),
    "POST /instruments/{name}/calibrations": write(Thing.RUNS),
    "POST /instruments/{name}/checks": write(Thing.RUNS),
    "POST /instruments/{name}/ranges": write(Thing.RUNS),
    "GET /calculators": read(Thing.RUNS),
    "GET /calculators/{name}": read(Thing.RUNS),
    "GET /calculators/{name}/figure.svg": read(Thing.RUNS),
    "POST /calculators/{name}/keep": write(Thing.RUNS),
    "GET /calculations/{number}": read(Thing.RUNS),
    "GET /heads/{head}/plans": read(Thing.RUNS),
    "POST /heads/{head}/plans": write(Thing.RUNS),
    "GET /heads/{head}/plans/{sha256}": read(Thing.RUNS),
    "GET /heads/{head}/plans/{sha256}/coverage.svg": read(Thing.RUNS),
    "GET /heads/{head}/plans/{sha256}/fill.svg": read(Thing.RUNS),
    "GET /heads/{head}/plans/{sha256}/warmth.svg": read(Thing.RUNS),
    "GET /heads/{head}/plans/{sha256}/plan_unit.csv": read(Thing.RUNS),
    "GET /heads/{head}/plans/{sha256}/plan_levels.csv": read(Thing.RUNS),
    "POST /heads/{head}/plans/{sha256}/edit": write(Thing.RUNS),
    "POST /heads/{head}/plans/{sha256}/keep-out": write(Thing.RUNS),
    "POST /heads/{head}/plans/{sha256}/open": write(Thing.RUNS),
    "GET /heads/{head}/predict": read(Thing.RUNS),
    "POST /heads/{head}/calibrate": write(Thing.RUNS),
    "GET /heads/{head}/sources": write(Thing.RUNS),
    "GET /heads/{head}/burn-in": read(Thing.RUNS),
    "GET /api/heads/{head}/burn-in": read(Thing.RUNS),
    "POST /heads/{head}/burn-in/record": write(Thing.RUNS),
    "POST /heads/{head}/burn-in/simulate": write(Thing.RUNS),
    "POST /heads/{head}/burn-in/pause": write(Thing.RUNS),
    "POST /heads/{head}/burn-in/resume": write(Thing.RUNS),
    "POST /heads/{head}/burn-in/hand-over": write(Thing.RUNS),
    "POST /heads/{head}/burn-in/end-recording": write(Thing.RUNS),
    "POST /heads/{head}/burn-in/end-campaign": write(Thing.RUNS),
    "POST /heads/{head}/burn-in/mark": write(Thing.RUNS),
    "GET /desks": read(Thing.RUNS),
    "GET /desks/{desk}": read(Thing.RUNS),
    "GET /jobs/{job}/scope": read(Thing.JOB),
    "POST /jobs/{job}/units/{unit}/scope": write(Thing.JOB),
    "POST /jobs/{job}/scope/{item}": write(Thing.JOB),
    "POST /jobs/{job}/answers": write(Thing.JOB),
    "POST /jobs/{job}/change-orders": write(Thing.JOB),
    "POST /jobs/{job}/change-orders/{name}": decide(Thing.JOB),
    "GET /jobs/{job}/customer": read(Thing.IDENTITY),
    "POST /jobs/{job}/customer/look": read(Thing.IDENTITY),  # told by the audit trail
    "POST /jobs/{job}/customer": write(Thing.IDENTITY),
    "GET /jobs/{job}/parts": read(Thing.FINDINGS),
    "POST /jobs/{job}/parts": write(Thing.FINDINGS),
    "GET /jobs/{job}/labels": read(Thing.FINDINGS),
    "GET /jobs/{job}/import": write(Thing.FINDINGS),
    "POST /jobs/{job}/import": Need(Action.WRITE, Thing.FINDINGS, most_bytes=SHEET_BYTES),
    "POST /jobs/{job}/import/apply": write(Thing.FINDINGS),
    "GET /jobs/{job}/template.csv": read(Thing.FINDINGS),
    "GET /as-found/{unit}": read(Thing.FINDINGS),
    "POST /as-found/{unit}": write(Thing.FINDINGS),
    "GET /positions/{unit}": read(Thing.FINDINGS),
    "GET /positions/{unit}/{code}": read(Thing.FINDINGS),
    "POST /positions/{unit}/lockout": write(Thing.FINDINGS),
    "POST /positions/{unit}/lockout/{name}/remove": write(Thing.FINDINGS),
    "POST /positions/{unit}/{code}/found": write(Thing.FINDINGS),
    "POST /positions/{unit}/{code}/fit": write(Thing.FINDINGS),
    "POST /positions/{unit}/{code}/take-out": write(Thing.FINDINGS),
    "POST /positions/{unit}/{code}/empty": write(Thing.FINDINGS),
    "POST /positions/{unit}/{code}/finding": write(Thing.FINDINGS),
    "POST /findings/{name}": write(Thing.FINDINGS),
    "GET /parts/{tag}": read(Thing.FINDINGS),
    "POST /parts/{tag}/move": write(Thing.FINDINGS),
    "GET /find": read(Thing.JOB),
    "GET /history": read(Thing.AUDIT, Condition.OWN_ACTS),  # others' acts are left out there
}
"""What each route needs, by method and path."""


def most_bytes(method: str, path: str) -> int:
    """Give the size of the largest body that is taken at a path."""
    for route, need in NEEDS.items():
        kind, _, template = route.partition(" ")
        larger = need.most_bytes > Need.most_bytes and kind == method
        if larger and compile_path(template)[0].match(path):
            return need.most_bytes
    return Need.most_bytes


async def admit(request: Request) -> None:
    """Let a request in when its visitor may do what the route is for.

    Raises
    ------
    AccessError
        If the visitor may not, or the route says not what it needs.
    """
    visitor = await run_in_threadpool(visitor_of, request)
    current.set(visitor)
    route = f"{request.method} {request.scope['route'].path}"
    need = NEEDS.get(route)
    if need is None:
        raise AccessError(
            "nobody may do this: the route does not say what it needs",
            where=route,
            mend="Report this fault of the program.",
        )
    decision = visitor.may(need.action, need.thing, met=tuple(need.inside))
    if not decision.allowed:
        _refuse(request, visitor, need, decision.reason)


def _refuse(request: Request, visitor: Visitor, need: Need, reason: str) -> NoReturn:
    everything = tuple(Condition)
    only_proof = may(visitor.role, need.action, need.thing, met=everything).allowed
    if visitor.person is None:
        _send_to_the_door(request)
    if only_proof and not visitor.proved:
        raise SignInError(
            "this needs a fresh proof of who you are",
            where=request.url.path,
            mend="Give your password under Account, then do it again.",
        )
    raise AccessError(
        reason.removesuffix("."),
        where=request.url.path,
        mend="Ask somebody who has that role.",
    )


def _send_to_the_door(request: Request) -> NoReturn:
    path = request.url.path
    if request.method != "GET" or path.startswith("/api/"):
        raise SignInError(
            "nobody is signed in here",
            where=path,
            mend="Sign in, in another tab if something typed stands on this page, and repeat it.",
        )
    desk: FrontDesk = request.app.state.desk
    if place_of(request).beyond or desk.people():
        raise HTTPException(303, headers={"Location": f"/sign-in?then={quote(path)}"})
    raise HTTPException(303, headers={"Location": "/welcome"})


def place_of(request: Request) -> Place:
    """Tell where a request comes from."""
    cookies: Cookies = request.app.state.cookies
    local = (
        not request.app.state.listens_beyond
        and host_of(request.headers) in LOCAL_HOSTS
        and not any(name in request.headers for name in FORWARDED)
    )
    return Place(device_secret=request.cookies.get(cookies.device), beyond=not local)


def visitor_of(request: Request) -> Visitor:
    """Tell who asks."""
    desk: FrontDesk = request.app.state.desk
    cookies: Cookies = request.app.state.cookies
    place, secret = place_of(request), request.cookies.get(cookies.session, "")
    now = utc_now()
    known = desk.session_of(secret, now) if secret else None
    device = desk.device(place)
    if known is not None:
        session, person = known
        proved = session.is_proved(now)
        return Visitor(person, place, token_of(secret), session, device, proved)
    owner = None if place.beyond else desk.automatic_owner()
    token = token_of(request.app.state.process_secret)
    return Visitor(owner, place, token, device=device, proved=owner is not None)


def desk_of(request: Request) -> FrontDesk:
    """Give who knows the people."""
    desk: FrontDesk = request.app.state.desk
    return desk


async def me() -> Visitor:
    """Give who asks; `admit` has let them in.

    Raises
    ------
    LookupError
        If a route forgot to go through the door.
    """
    visitor = current.get()
    if visitor is None:
        raise LookupError("nobody was let in")
    return visitor


Desk = Annotated[FrontDesk, Depends(desk_of)]
"""What a route asks for the people."""
Me = Annotated[Visitor, Depends(me)]
"""What a route asks for its visitor."""
