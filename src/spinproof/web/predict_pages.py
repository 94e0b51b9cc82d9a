"""What a recipe will do on a head: predicted with intervals, and which recipes are worth a try."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query
from markupsafe import Markup
from starlette.responses import Response

from spinproof.app.predict_desk import PredictDesk
from spinproof.figures.band_chart import band_chart
from spinproof.figures.front_chart import front_chart
from spinproof.figures.residual_plot import residual_plot
from spinproof.model.access import Thing
from spinproof.model.prediction import Advice, Prediction
from spinproof.web.access import Me
from spinproof.web.deeds import forms_of, may_write
from spinproof.web.forms import Form, Posted, Typed
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()

DRY_G = 0.1


def predict_desk(shop: Shop) -> PredictDesk:
    """Give what predicts."""
    return PredictDesk(shop.home, shop.ledger)


Desk = Annotated[PredictDesk, Depends(predict_desk)]


@router.get("/heads/{head}/predict")
def show(
    shop: Shop,
    desk: Desk,
    me: Me,
    head: str,
    recipe: Annotated[str | None, Query(max_length=16)] = None,
    dry_g: Annotated[float, Query(gt=0, le=100)] = DRY_G,
    seed: Annotated[int, Query(ge=0, le=2**31)] = 1,
    ask: Annotated[str, Query(pattern="^(predict|advise)$")] = "predict",
) -> Response:
    """Show what is known of a head, and answer for a recipe when one is chosen."""
    prediction = advice = None
    if recipe and ask == "predict":
        prediction = desk.predict(head, recipe, dry_g=dry_g, seed=seed)
    elif recipe:
        advice = desk.advise(head, recipe, dry_g=dry_g, seed=seed)
    return _page(shop, desk, me, head, answer=(recipe, dry_g, prediction, advice))


@router.post("/heads/{head}/calibrate")
def calibrate(shop: Shop, desk: Desk, me: Me, posted: Posted, head: str) -> Response:
    """Calibrate the model of a head on its newest runs, and keep it."""

    def act() -> str:
        posted.read(Typed)
        desk.calibrate(head, me.name)
        return f"/heads/{head}/predict"

    return posted.carry_out(act, lambda form: _page(shop, desk, me, head, form))


def _page(
    shop: Shop,
    desk: PredictDesk,
    me: Visitor,
    head: str,
    sent: Form | None = None,
    answer: tuple[str | None, float, Prediction | None, Advice | None] = (None, DRY_G, None, None),
) -> Response:
    chosen, dry_g, prediction, advice = answer
    model = desk.model(head)
    bands = prediction.bands if prediction else ()
    return render(
        "predict.html",
        head=shop.head(head),
        model=model,
        residuals=[(fit, _drawn(residual_plot(fit))) for fit in model.fits],
        choices=desk.choices(head),
        chosen=chosen,
        dry_g=f"{dry_g:g}",
        prediction=prediction,
        bands=[
            _drawn(band_chart(band, prediction.recipe, simulated=prediction.simulated))
            for band in bands
            if prediction
        ],
        advice=advice,
        front=_drawn(front_chart(advice)) if advice else "",
        form=forms_of(me, sent),
        may_write=may_write(me, Thing.RUNS),
        simulated=False,
    )


def _drawn(figure: str) -> Markup:
    return Markup(figure)  # noqa: S704 - our own drawing, its texts escaped
