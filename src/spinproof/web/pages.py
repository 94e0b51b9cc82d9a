"""The pages: shop, job, head, run, dossiers, and the words they use."""

from fastapi import APIRouter
from starlette.responses import FileResponse, Response

from spinproof.app.calculating import CalculationDesk
from spinproof.app.packages import package_document, packages
from spinproof.app.runner_desk import RunnerDesk
from spinproof.app.views import WORDS
from spinproof.figures.drift_chart import drift_chart
from spinproof.figures.outcome_strip import outcome_strip
from spinproof.model.errors import RecordError
from spinproof.web.glossary import GROUPS
from spinproof.web.rendering import render
from spinproof.web.shop import Shop

router = APIRouter()


@router.get("/")
def show_shop(shop: Shop) -> Response:
    """Show all jobs."""
    view = shop.shop()
    return render("shop.html", shop=view, simulated=view.simulated)


@router.get("/jobs/{job}")
def show_job(shop: Shop, job: str) -> Response:
    """Show one job: its machine drawn by heads, its scope, its exclusions."""
    view = shop.job(job)
    kept = CalculationDesk(shop.ledger).kept_with(job)
    return render("job.html", job=view, calculations=kept, simulated=view.simulated)


@router.get("/heads/{head}")
def show_head(shop: Shop, head: str, outcome: str | None = None) -> Response:
    """Show one head with its runs, all or those that are called by one word.

    Raises
    ------
    RecordError
        If runs are never called by this word.
    """
    if outcome is not None and outcome not in WORDS:
        raise RecordError(
            "no run is ever called so",
            where=f"outcome {outcome}",
            mend=f"A run is called {', '.join(WORDS[:-1])} or {WORDS[-1]}.",
        )
    view = shop.head(head)
    simulated = view.job.simulated and bool(view.runs)
    return render(
        "head.html",
        head=view,
        words=WORDS,
        chosen=outcome,
        calculations=CalculationDesk(shop.ledger).kept_with(head),
        drift=shop.drift(head) if view.attempts else None,
        simulated=simulated,
    )


@router.get("/heads/{head}/drift/{number}.svg")
def show_drift(shop: Shop, head: str, number: int) -> Response:
    """Draw one of the series that drift, counted from 1.

    Raises
    ------
    RecordError
        If fewer series drift.
    """
    drift = shop.drift(head)
    if not 1 <= number <= len(drift.drifting):
        raise RecordError(
            "no such series drifts",
            where=f"head {head}, series {number}",
            mend="Look at the page of the head: it draws those that drift.",
        )
    svg = drift_chart(drift.drifting[number - 1], simulated=drift.simulated)
    return Response(svg, media_type="image/svg+xml")


@router.get("/heads/{head}/strip.svg")
def show_strip(shop: Shop, head: str) -> Response:
    """Draw the outcomes of all attempts in order."""
    view = shop.head(head)
    svg = outcome_strip(view.attempts, simulated=view.job.simulated)
    return Response(svg, media_type="image/svg+xml")


@router.get("/runs/{run}")
def show_run(shop: Shop, run: str) -> Response:
    """Show one run in full."""
    view = shop.run(run)
    marks = RunnerDesk(shop.home, shop.ledger).marks(run)
    found = shop.cause(run) if view.judgement else None
    return render("run.html", run=view, marks=marks, cause=found, simulated=view.simulated)


@router.get("/dossiers")
def show_dossiers(shop: Shop) -> Response:
    """Show the packages, each verified now."""
    found = packages(shop.home)
    simulated = any(package.simulated for package in found)
    return render("dossiers.html", packages=found, simulated=simulated)


@router.get("/dossiers/{package}/document")
def give_document(shop: Shop, package: str) -> Response:
    """Give the document of a package that verifies."""
    path = package_document(shop.home, package)
    return FileResponse(path, media_type="application/pdf", filename=f"{package}.pdf")


@router.get("/words")
def show_words() -> Response:
    """Show what the words and shapes mean."""
    return render("words.html", groups=GROUPS)
