"""The application that answers the pages' requests."""

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.staticfiles import StaticFiles

from spinproof.app.browsing import Browser
from spinproof.app.home import Home
from spinproof.app.intake import open_shop_ledger
from spinproof.model.errors import SpinproofError
from spinproof.web import live, pages, traces
from spinproof.web.faults import error_answer, refusal
from spinproof.web.guard import Guard

STATIC = Path(__file__).parent / "static"


def create_app(
    home: Home,
    *,
    allowed_hosts: tuple[str, ...] = (),
    is_stopping: Callable[[], bool] = lambda: False,
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

    Returns
    -------
    FastAPI
        The application. It only reads.

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
        title="spinproof", docs_url=None, redoc_url=None, openapi_url=None, lifespan=lifespan
    )
    app.state.browser = Browser(home, ledger)
    app.state.is_stopping = is_stopping
    app.add_middleware(Guard, hosts=frozenset(allowed_hosts), refuse=refusal)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for router in (pages.router, traces.router, live.router):
        app.include_router(router)
    _answer_errors(app, home)
    return app


def _answer_errors(app: FastAPI, home: Home) -> None:
    @app.exception_handler(SpinproofError)
    def of_the_tree(request: Request, error: SpinproofError) -> Response:
        return error_answer(request, error, home.root)

    @app.exception_handler(HTTPException)
    def of_the_path(request: Request, error: HTTPException) -> Response:
        codes = {404: "missing", 405: "method"}
        return refusal(request, codes.get(error.status_code, "request"))

    @app.exception_handler(RequestValidationError)
    def of_the_query(request: Request, _: RequestValidationError) -> Response:
        return refusal(request, "request")
