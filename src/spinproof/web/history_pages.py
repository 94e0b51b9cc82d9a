"""Finding things by a word or a tag, and the history of anything in plain words."""

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Query
from starlette.responses import RedirectResponse, Response

from spinproof.app.history_views import find, history_of, page_of, part_meant
from spinproof.model.access import Action, Thing
from spinproof.web.access import Me
from spinproof.web.deeds import with_camera
from spinproof.web.forms import said
from spinproof.web.rendering import render
from spinproof.web.shop import Shop

router = APIRouter()
Asked = Annotated[str, Query(max_length=200)]


@router.get("/find")
def show_found(shop: Shop, q: Asked = "") -> Response:
    """Go to the part of a tag that was scanned, or show what holds the words."""
    tag = part_meant(shop.ledger, q) if q else None
    if tag is not None:
        return RedirectResponse(f"/parts/{quote(tag)}", 303)
    found = find(shop.ledger, q)
    return with_camera(
        render(
            "find.html",
            found=found,
            wrong=said(found.slip) if found.slip else "",
            hits=[(hit, page_of(hit)) for hit in found.hits],
            marks={},
            simulated=False,
        )
    )


@router.get("/history")
def show_history(
    shop: Shop,
    me: Me,
    about: Asked = "",
    before: Annotated[int | None, Query(ge=1)] = None,
) -> Response:
    """Show what was written down about something, or about everything."""
    everything = me.may(Action.READ, Thing.AUDIT).allowed
    history = history_of(shop.ledger, about or None, None if everything else me.name, before)
    return render("history.html", history=history, everything=everything, simulated=False)
