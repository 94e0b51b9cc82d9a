"""The one shape of every error that leaves the pages: what, where, mend, code."""

from dataclasses import dataclass
from pathlib import Path

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from spinproof.model.errors import SpinproofError
from spinproof.web.rendering import render

STATUS_OF_CODE = {
    "record": 404,
    "document": 422,
    "tag": 422,
    "unit": 422,
    "out-of-range": 422,
    "plan": 422,
    "sheet": 422,
    "evidence": 422,
    "busy": 503,
    "stand": 503,
    "gate-closed": 409,
    "sign-in": 401,
    "access": 403,
}
"""Status of the answer by the error's code; all others are 500."""


@dataclass(frozen=True)
class Fault:
    """What went wrong, where, and how to mend it."""

    what: str
    where: str
    mend: str
    code: str
    status: int

    def document(self) -> dict[str, str]:
        """Give the one shape of an error: what, where, mend, code."""
        return {"what": self.what, "where": self.where, "mend": self.mend, "code": self.code}


REFUSALS = {
    "host": ("this name is not one the pages answer to", 400, "Open http://127.0.0.1 with the port "
        "that `spinproof serve` printed, or allow this host when starting it."),
    "method": ("this page does not take that", 405, "Start again from the shop's page."),
    "origin": ("this was not sent by a page of this shop", 403, "Nothing was changed. Open the "
        "page here and send the form from there."),
    "size": ("this is larger than the page takes", 413, "Nothing was stored. A page takes up "
        "to 64 MB of evidence; larger films come in with `spinproof evidence`."),
    "form": ("this is no form of a page", 415, "Open the page and send its form."),
    "gone": ("this was here, and is no more", 410, "Start again from the shop's page."),
    "missing": ("there is no such page", 404, "Start again from the shop's page."),
    "request": ("the address asks for something that cannot be", 422, "Start again from the "
        "shop's page and follow its links."),
    "internal": ("the page failed through a fault of the program", 500, "Nothing was changed. Look "
        "at what `spinproof serve` printed, and report it with this address."),
}  # fmt: skip
"""Refusals that no error of the tree stands for: what, status and mend by code."""


def refusal(request: Request, code: str) -> Response:
    """Answer a request that is refused before any record was asked."""
    what, status, mend = REFUSALS[code]
    return answer(request, Fault(what, request.url.path, mend, code, status))


def error_answer(request: Request, error: SpinproofError, root: Path) -> Response:
    """Answer with an error of the tree."""
    return answer(request, fault_of(error, root))


def fault_of(error: SpinproofError, root: Path) -> Fault:
    """Give an error of the tree as a fault; folders of this machine stay out of it."""
    what, where, mend = (
        text.replace(str(root), "the home folder") for text in (error.what, error.where, error.mend)
    )
    return Fault(what, where, mend, error.code, STATUS_OF_CODE.get(error.code, 500))


def answer(request: Request, fault: Fault) -> Response:
    """Give the fault as JSON below /api, and as a page elsewhere."""
    if request.url.path.startswith("/api/"):
        return JSONResponse(fault.document(), status_code=fault.status)
    return render("fault.html", status=fault.status, fault=fault)
