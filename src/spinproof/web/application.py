"""The application that answers the pages' requests."""

import secrets
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from hashlib import sha256
from pathlib import Path

from fastapi import Depends, FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.staticfiles import StaticFiles

from spinproof.app.browsing import Browser
from spinproof.app.home import Home
from spinproof.app.intake import open_shop_ledger
from spinproof.app.passwords import Passwords
from spinproof.app.people import FrontDesk
from spinproof.app.sending import Sending
from spinproof.model.errors import SpinproofError
from spinproof.web import (
    access,
    calculator_pages,
    check_pages,
    customer_pages,
    desks,
    fact_pages,
    gate_pages,
    history_pages,
    import_pages,
    instrument_pages,
    intake_pages,
    live,
    matter_pages,
    pages,
    part_pages,
    people,
    plan_pages,
    predict_pages,
    runner_pages,
    scope_pages,
    sign_in,
    source_pages,
    table_pages,
    traces,
)
from spinproof.web.faults import error_answer, refusal
from spinproof.web.guard import Guard

STATIC = Path(__file__).parent / "static"
PAGES = (
    pages,
    traces,
    live,
    sign_in,
    people,
    gate_pages,
    check_pages,
    desks,
    intake_pages,
    scope_pages,
    part_pages,
    table_pages,
    history_pages,
    import_pages,
    fact_pages,
    instrument_pages,
    matter_pages,
    calculator_pages,
    customer_pages,
    plan_pages,
    predict_pages,
    runner_pages,
    source_pages,
)
"""Modules of routes, in the order in which they are asked."""


def create_app(
    home: Home,
    *,
    allowed_hosts: tuple[str, ...] = (),
    is_stopping: Callable[[], bool] = lambda: False,
    beyond: bool = False,
    tls: bool = False,
    passwords: Passwords | None = None,
) -> FastAPI:
    """Make the application that shows one home folder.

    Parameters
    ----------
    home : Home
        Where ledger, traces and journals lie.
    allowed_hosts : tuple of str
        Host names to answer to, besides this machine's own.
    is_stopping : callable
        Tells open streams when the server wants to end.
    beyond : bool
        Whether other machines can reach it; nobody is then let in without signing in.
    tls : bool
        Whether it is reached over TLS alone.
    passwords : Passwords, optional
        How passwords are hashed.

    Returns
    -------
    FastAPI
        The application.

    Raises
    ------
    StorageError
        If the ledger cannot be opened.
    """
    ledger = open_shop_ledger(home)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        yield
        ledger.close()

    app = FastAPI(
        title="spinproof",
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=lifespan,
        dependencies=[Depends(access.admit)],
    )
    app.state.browser = Browser(home, ledger)
    app.state.is_stopping = is_stopping
    app.state.desk = FrontDesk(ledger, passwords)
    app.state.sending = Sending(ledger)
    app.state.listens_beyond = beyond
    app.state.cookies = access.Cookies.of(mark_of(home), secure=tls)
    app.state.process_secret = secrets.token_urlsafe(32)
    app.add_middleware(
        Guard,
        hosts=frozenset(allowed_hosts),
        refuse=refusal,
        most_bytes=access.most_bytes,
        tls=tls,
    )
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for each in PAGES:
        app.include_router(each.router)
    _answer_errors(app, home)
    return app


def mark_of(home: Home) -> str:
    """Give what tells the cookies of two shops on one machine apart."""
    return sha256(str(home.root).encode()).hexdigest()[:8]


def _answer_errors(app: FastAPI, home: Home) -> None:
    @app.exception_handler(SpinproofError)
    def of_the_tree(request: Request, error: SpinproofError) -> Response:
        return error_answer(request, error, home.root)

    @app.exception_handler(HTTPException)
    def of_the_path(request: Request, error: HTTPException) -> Response:
        location = (error.headers or {}).get("Location")
        if location is not None:
            return RedirectResponse(location, error.status_code)
        codes = {404: "missing", 405: "method", 410: "gone", 413: "size", 415: "form"}
        return refusal(request, codes.get(error.status_code, "request"))

    @app.exception_handler(RequestValidationError)
    def of_the_query(request: Request, _: RequestValidationError) -> Response:
        return refusal(request, "request")
