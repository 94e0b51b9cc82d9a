"""The live page of a head, and the stream of server-sent events that keeps it so."""

import asyncio
import time
from collections.abc import AsyncIterator
from dataclasses import asdict
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from fastapi.sse import EventSourceResponse, ServerSentEvent
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from spinproof.app.clock import utc_now
from spinproof.app.live import HeadWatch
from spinproof.app.runner_desk import RunnerDesk
from spinproof.app.views import HeadView, LiveState, LiveView
from spinproof.model.access import Thing
from spinproof.model.errors import SpinproofError
from spinproof.web.access import Me
from spinproof.web.deeds import may_write
from spinproof.web.faults import fault_of
from spinproof.web.forms import blank
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.wording import reading, unit

router = APIRouter()

LOOK_S = 0.004
"""Time between two looks at the size of a journal that is written. [s]"""
WAIT_S = 0.25
"""Time between two looks while nothing is recorded, or nothing comes. [s]"""
LATE_S = 3.0
"""Samples so old are late. [s]"""
BEAT_S = 1.0
"""Something is sent at least this often, so that a page knows that the server lives. [s]"""


def known_head(shop: Shop, head: str) -> HeadView:
    """Give a head, or refuse before the stream begins."""
    return shop.head(head)


Head = Annotated[HeadView, Depends(known_head)]


@router.get("/live/{head}")
def show_live(shop: Shop, me: Me, head: Head) -> Response:
    """Show the run of a head that is recorded now."""
    watch = HeadWatch(shop, head.card.head)
    try:
        now = watch.look(utc_now())
    finally:
        watch.close()
    return render(
        "live.html",
        head=head,
        now=now,
        marks=RunnerDesk(shop.home, shop.ledger).marks(now.run) if now.run else (),
        form=blank(me, f"/heads/{quote(head.card.head)}/burn-in/mark"),
        may_write=may_write(me, Thing.RUNS),
        simulated=head.job.simulated,
    )


@router.get("/api/live/{head}", response_class=EventSourceResponse)
async def follow(request: Request, shop: Shop, head: Head) -> AsyncIterator[ServerSentEvent]:
    """Send what the recorder writes, as it is written."""
    watch = HeadWatch(shop, head.card.head)
    sent = -BEAT_S
    try:
        while not request.app.state.is_stopping():
            now = await run_in_threadpool(watch.look, utc_now())
            if now.traces or now.fresh or time.monotonic() - sent >= BEAT_S:
                sent = time.monotonic()
                yield ServerSentEvent(event="now", data=document_of(now))
            await _next(watch, now)
    except SpinproofError as error:
        fault = fault_of(error, shop.home.root)
        yield ServerSentEvent(event="fault", data=fault.document())
    finally:
        watch.close()


async def _next(watch: HeadWatch, now: LiveView) -> None:
    """Wait until there may be something new; a look at a file's size is cheap enough for here."""
    comes = now.state is LiveState.RECORDING and (now.age_s or 0.0) < LATE_S
    until = time.monotonic() + WAIT_S
    while not watch.has_news() and time.monotonic() < until:  # noqa: ASYNC110 - another process writes it
        await asyncio.sleep(LOOK_S if comes else WAIT_S)


def document_of(now: LiveView) -> dict[str, Any]:
    """Give a moment of a recording as plain JSON types, with its readings in words."""
    document = asdict(now)
    for trace in document["traces"]:
        trace["unit"] = unit(trace["unit"])
    document["readings"] = [{"name": shown.name, "text": reading(shown)} for shown in now.readings]
    return document
