"""The curves of a run: as data for charts that zoom, and drawn for paper."""

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import JSONResponse, Response

from spinproof.app.views import RunView
from spinproof.figures.panel import panels_of
from spinproof.figures.run_figure import run_figure
from spinproof.figures.setpoint import setpoint_series
from spinproof.model.handover import Series
from spinproof.web.shop import Shop
from spinproof.web.wording import title, unit

router = APIRouter()

FIGURE_POINTS = 1500
"""Points of a curve in the drawn figure: two for each of its pixels."""

Seconds = Annotated[float | None, Query(ge=0, le=1e6, allow_inf_nan=False)]


@router.get("/api/runs/{run}/trace")
def give_trace(shop: Shop, run: str, from_s: Seconds = None, to_s: Seconds = None) -> Response:
    """Give the curves of a run, or of a part of it, sorted by unit."""
    view = shop.run(run)
    trace = shop.trace(run, from_s, to_s)
    document = asdict(trace)
    del document["series"]
    panels = panels_of((*trace.series, *_setpoint(view)))
    document["panels"] = [
        {
            "name": title(panel.title),
            "unit": unit(panel.unit),
            "curves": [asdict(series) | {"unit": unit(series.unit)} for series in panel.series],
        }
        for panel in panels
    ]
    return JSONResponse(document)


def _setpoint(view: RunView) -> tuple[Series, ...]:
    if view.judgement is None or not view.judgement.segments:
        return ()
    return (setpoint_series(view.recipe, view.judgement.segments),)


@router.get("/runs/{run}/figure.svg")
def draw_figure(shop: Shop, run: str) -> Response:
    """Draw the curves of a run, for paper and for browsers without scripts."""
    view = shop.run(run)
    trace = shop.trace(run, points=FIGURE_POINTS)
    judgement = view.judgement
    svg = run_figure(
        trace.series,
        recipe=view.recipe,
        segments=judgement.segments if judgement else (),
        events=judgement.events if judgement else (),
        title=f"Run {run}: {view.line.word}",
        alt=f"Traces of run {run}, which is {view.line.word}.",
        simulated=view.simulated,
    )
    return Response(svg, media_type="image/svg+xml")
