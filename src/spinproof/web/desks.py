"""The desks: for each role its first screen."""

from fastapi import APIRouter
from starlette.responses import Response

from spinproof.app.clock import utc_now
from spinproof.app.desk_views import Desk, desk_view
from spinproof.model.access import Role
from spinproof.model.errors import RecordError
from spinproof.web.access import Me
from spinproof.web.rendering import render
from spinproof.web.shop import Shop

router = APIRouter()

TASKS = {
    Desk.RECEIVING: "What came in, and whether it is cleared",
    Desk.TEARDOWN: "Positions to record before a part comes off",
    Desk.INSPECTION: "Parts under inspection, findings, instruments that fall due",
    Desk.TEST: "The next check or run of each head",
    Desk.QUALITY: "Gates and matters that wait for somebody, and nothing else",
    Desk.PRESENTER: "The next step of the source inspection, without any name",
    Desk.SERVICE: "What each released head was made of",
    Desk.OWNER: "Where each head stands",
}
FIRST = {
    Role.OWNER: Desk.OWNER,
    Role.TECHNICIAN: Desk.TEST,
    Role.INSPECTOR: Desk.QUALITY,
    Role.PRESENTER: Desk.PRESENTER,
}
"""The desk that each role works at most."""


@router.get("/desks")
def show_desks(me: Me) -> Response:
    """Show all desks, one's own first."""
    first = FIRST.get(me.role)
    desks = sorted(TASKS.items(), key=lambda item: item[0] is not first)
    return render("desks.html", desks=desks, first=first, simulated=False)


@router.get("/desks/{desk}")
def show_desk(desk: str, shop: Shop) -> Response:
    """Show one desk.

    Raises
    ------
    RecordError
        If there is none of that name.
    """
    if desk not in set(Desk):
        raise RecordError(
            "there is no such desk", where=f"desk {desk}", mend=f"Choose: {', '.join(Desk)}."
        )
    view = desk_view(shop.ledger, Desk(desk), utc_now().date())
    return render("desk.html", view=view, task=TASKS[view.desk], simulated=False)
