"""Predict what a recipe will do on a head, and advise which recipes are worth a try."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from spinproof.files.canonical import canonical_json
from spinproof.files.durable import write_durably
from spinproof.model.errors import DocumentError, PlanError
from spinproof.model.head import Envelope, HeadSpec, Span
from spinproof.model.head_model import HeadModel
from spinproof.model.load import Load
from spinproof.model.prediction import Advice, Prediction
from spinproof.model.recipe import Recipe, StepKind
from spinproof.plan.given import recipe_at
from spinproof.plan.region import Region
from spinproof.predict import forecast, front
from spinproof.predict.front import Prices
from spinproof.predict.outcome import DRY_G

DRAWS = 20_000
CANDIDATES_LOG2 = 13
POOL = 1500
"""Recipes inside the envelope that advice may try. [1]"""


@dataclass(frozen=True)
class Wish:
    """What advice is to count with."""

    dry_g: float = DRY_G
    """Residual that counts as dry. [g]"""
    least_odds: float = 0.5
    """Probability of being dry below which a recipe is not worth showing. [1]"""
    prices: Prices = field(default_factory=Prices)
    """What utilities cost."""


def predict_recipe(
    model: HeadModel,
    recipe: Recipe,
    load: Load,
    *,
    draws: int = DRAWS,
    seed: int = 1,
    dry_g: float = DRY_G,
) -> Prediction:
    """Predict what a recipe will do on a head.

    Parameters
    ----------
    model : HeadModel
        What is known of the head, calibrated or not.
    recipe : Recipe
        The recipe.
    load : Load
        The wafers.
    draws : int
        Number of draws, 100 to 1 000 000.
    seed : int
        Seed of the draws.
    dry_g : float
        Residual that counts as dry. [g]

    Returns
    -------
    Prediction
        Medians with 95 % intervals; the same inputs give the same numbers.

    Raises
    ------
    DocumentError
        If recipe or load do not fit the head, or an option makes no sense.
    """
    _check(model.head, recipe, load)
    _check_options(dry_g, draws=draws)
    task = forecast.task_of(model, recipe, load, dry_g)
    return forecast.predict(task, model, draws=draws, seed=seed)


def advise_recipes(
    model: HeadModel, template: Recipe, load: Load, *, wish: Wish | None = None, seed: int = 1
) -> Advice:
    """Find recipes inside the head's envelope that no other beats in time, dryness and cost.

    Parameters
    ----------
    model : HeadModel
        What is known of the head.
    template : Recipe
        The customer's recipe: its rinse stays as it is, its dry stage is what is varied.
    load : Load
        The wafers.
    wish : Wish, optional
        What counts as dry, and what utilities cost.
    seed : int
        Seed of the search and of the draws.

    Returns
    -------
    Advice
        The trade-off front, each recipe with its intervals.

    Raises
    ------
    PlanError
        If the envelope leaves no recipe with this rinse; it says which constraints collide.
    DocumentError
        If recipe or load do not fit the head, or an option makes no sense.
    """
    wish = wish or Wish()
    _check(model.head, template, load)
    _check_options(wish.dry_g, odds=wish.least_odds)
    head = _with_rinse(model.head, template)
    region = Region(head)
    points = region.sobol(seed, CANDIDATES_LOG2)[0][:POOL]
    heated = any(step.heater_c is not None for step in template.steps)
    recipes = [
        recipe_at(f"advice {i}", point, head.envelope, heated=heated)
        for i, point in enumerate(points, start=1)
    ]
    return front.advise(
        recipes,
        region.to_unit(points),
        model,
        load,
        wish.prices,
        dry_g=wish.dry_g,
        least_odds=wish.least_odds,
        seed=seed,
    )


def write_prediction(prediction: Prediction, path: Path) -> None:
    """Write a prediction as canonical JSON."""
    write_durably(path, canonical_json(prediction.to_document()) + b"\n")


def write_advice(advice: Advice, path: Path) -> None:
    """Write advice as canonical JSON."""
    write_durably(path, canonical_json(advice.to_document()) + b"\n")


def write_charts(folder: Path, charts: Mapping[str, str]) -> list[Path]:
    """Write charts into a folder, named after what they show, and give the paths."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, svg in charts.items():
        path = folder / f"{name.replace(' ', '-')}.svg"
        write_durably(path, svg.encode())
        paths.append(path)
    return paths


def prices_of(text: str | None) -> Prices:
    """Read prices that somebody typed: a m3 of water, a kg of nitrogen, a kWh, and the unit.

    Parameters
    ----------
    text : str or None
        For example "12,0.4,0.3,EUR"; None for the assumed ones.

    Returns
    -------
    Prices
        What utilities cost.

    Raises
    ------
    DocumentError
        If the text is not three prices and a unit.
    """
    if text is None:
        return Prices()
    *typed, unit = text.split(",")
    try:
        water, nitrogen, energy = (float(each) for each in typed)
    except ValueError:
        water = nitrogen = energy = -1.0
    if not (unit.strip() and all(0 <= p < 1e9 for p in (water, nitrogen, energy))):
        raise DocumentError(
            f'"{text}" is not three prices and a unit',
            where="--prices",
            mend='Give a m3 of water, a kg of nitrogen, a kWh and the unit: "12,0.4,0.3,EUR".',
        )
    return Prices(water, nitrogen, energy, unit.strip(), assumed=False)


def _check(head: HeadSpec, recipe: Recipe, load: Load) -> None:
    if recipe.top_speed_rpm > head.top_speed_rpm:
        raise DocumentError(
            f"recipe {recipe.name} is faster than {head.top_speed_rpm:g} rpm",
            where=f"head {head.designation}, top_speed_rpm",
            mend="Lower the speeds of the recipe.",
        )
    if max(load.slots, default=0) > head.slots:
        raise DocumentError(
            f"load {load.name} uses slot {max(load.slots)} of {head.slots}",
            where=f"head {head.designation}, slots",
            mend="Put the wafers into slots that the head has.",
        )


def _check_options(dry_g: float, *, draws: int = DRAWS, odds: float = 0.5) -> None:
    for holds, what, mend in (
        (0 < dry_g <= 100, f"{dry_g:g} g is no residual", "Give 0.001 to 100 g."),
        (100 <= draws <= 1_000_000, f"{draws} draws are no sample", "Give 100 to 1 000 000."),
        (0 <= odds < 1, f"odds of {odds:g} do not exist", "Give 0 to below 1."),
    ):
        if not holds:
            raise DocumentError(what, where="the options", mend=mend)


def _with_rinse(head: HeadSpec, template: Recipe) -> HeadSpec:
    """Narrow the envelope to the template's rinse.

    Raises
    ------
    DocumentError
        If there is no rinse.
    PlanError
        If the rinse lies outside of the envelope.
    """
    rinse = next((s for s in template.steps if s.kind is StepKind.RINSE and s.water), None)
    if rinse is None:
        raise DocumentError(
            f"recipe {template.name} has no rinse to keep",
            where="recipe, steps",
            mend="Give the customer's recipe, with its rinse.",
        )
    kept = {"rinse_rpm": rinse.speed_rpm, "rinse_s": rinse.duration_s}
    for name, value in kept.items():
        span: Span = getattr(head.envelope, name)
        if not span.low <= value <= span.high:
            raise PlanError(
                f"the rinse's {name} of {value:g} lies outside of {span.low:g} to {span.high:g}",
                where=f"envelope of head {head.designation}",
                mend="Widen the envelope, or change the recipe's rinse.",
            )
    spans = {name: Span(low=value, high=value) for name, value in kept.items()}
    envelope: Envelope = head.envelope.model_copy(update=spans)
    return head.model_copy(update={"envelope": envelope})
