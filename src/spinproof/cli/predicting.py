"""``spinproof calibrate``, ``predict`` and ``advise``: a head's model, what a recipe will do."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from spinproof.cli.show import console, say
from spinproof.figures.units import printed_unit
from spinproof.model.head import HeadSpec
from spinproof.model.head_model import Fit, HeadModel
from spinproof.model.load import Load
from spinproof.model.prediction import Advice, Candidate, Estimate, Prediction
from spinproof.model.recipe import Recipe

ModelFile = Annotated[
    Path | None, typer.Option(help="Model that `calibrate` wrote; else --head with its priors.")
]
HeadFile = Annotated[Path | None, typer.Option(help="Head spec, TOML, when there is no model.")]
Figures = Annotated[Path | None, typer.Option(help="Folder to write the charts to, as SVG.")]


def calibrate(
    traces: Annotated[
        list[Path] | None, typer.Argument(help="Sealed traces of the head's own runs.")
    ] = None,
    *,
    head: Annotated[Path, typer.Option(help="Head spec, TOML.")],
    weighings: Annotated[Path | None, typer.Option(help="Sheet of weighings, TOML.")] = None,
    out: Annotated[Path | None, typer.Option(help="Write the model here, as JSON.")] = None,
    figures: Figures = None,
) -> None:
    """Calibrate the model of a head on its own runs: drag, bowl, heater, hold-up."""
    from spinproof.app.calibrating import calibrate_head, write_model
    from spinproof.app.documents import read_document

    spec = read_document(head, HeadSpec)
    with console.status("fitting"):
        model = calibrate_head(spec, traces or [], weighings)
    _print_model(model)
    if out is not None:
        write_model(model, out)
        say(f"model: {out}")
    if figures is not None:
        from spinproof.figures.residual_plot import residual_plot

        _write(figures, {f"residuals {f.subject}": residual_plot(f) for f in model.fits})


def predict(
    recipe: Annotated[Path, typer.Option(help="Recipe, TOML.")],
    load: Annotated[Path, typer.Option(help="Load, TOML.")],
    *,
    model: ModelFile = None,
    head: HeadFile = None,
    draws: Annotated[int, typer.Option(help="Number of draws.")] = 20_000,
    seed: Annotated[int, typer.Option(help="Seed of every random draw.")] = 1,
    dry_g: Annotated[float, typer.Option(help="Residual that counts as dry, in g.")] = 0.1,
    json: Annotated[Path | None, typer.Option(help="Write the prediction here, as JSON.")] = None,
    figures: Figures = None,
) -> None:
    """Predict what a recipe will do on a head, with 95 % intervals."""
    from spinproof.app.documents import read_document
    from spinproof.app.predicting import predict_recipe, write_prediction

    found = predict_recipe(
        _model(model, head),
        read_document(recipe, Recipe),
        read_document(load, Load),
        draws=draws,
        seed=seed,
        dry_g=dry_g,
    )
    _print_prediction(found)
    if json is not None:
        write_prediction(found, json)
        say(f"prediction: {json}")
    if figures is not None:
        from spinproof.figures.band_chart import band_chart

        charts = {
            b.label: band_chart(b, found.recipe, simulated=found.simulated) for b in found.bands
        }
        _write(figures, charts)


def advise(
    recipe: Annotated[Path, typer.Option(help="The customer's recipe, TOML: its rinse stays.")],
    load: Annotated[Path, typer.Option(help="Load, TOML.")],
    *,
    model: ModelFile = None,
    head: HeadFile = None,
    seed: Annotated[int, typer.Option(help="Seed of the search and of every draw.")] = 1,
    dry_g: Annotated[float, typer.Option(help="Residual that counts as dry, in g.")] = 0.1,
    least_odds: Annotated[
        float, typer.Option(help="Odds of being dry below which nothing is shown.")
    ] = 0.5,
    prices: Annotated[
        str | None,
        typer.Option(
            help='"WATER,NITROGEN,ENERGY,UNIT" a m3, a kg and a kWh, e.g. "12,0.4,0.3,EUR".'
        ),
    ] = None,
    json: Annotated[Path | None, typer.Option(help="Write the advice here, as JSON.")] = None,
    figures: Figures = None,
) -> None:
    """Find recipes inside the envelope: the shortest, driest, cheapest, and what lies between."""
    from spinproof.app.documents import read_document
    from spinproof.app.predicting import Wish, advise_recipes, prices_of, write_advice

    wish = Wish(dry_g=dry_g, least_odds=least_odds, prices=prices_of(prices))
    with console.status("searching"):
        found = advise_recipes(
            _model(model, head),
            read_document(recipe, Recipe),
            read_document(load, Load),
            wish=wish,
            seed=seed,
        )
    _print_advice(found)
    if json is not None:
        write_advice(found, json)
        say(f"advice: {json}")
    if figures is not None:
        from spinproof.figures.front_chart import front_chart

        _write(figures, {"front": front_chart(found)})


def _model(model: Path | None, head: Path | None) -> HeadModel:
    from spinproof.app.calibrating import model_of

    return model_of(model, head)


def _table(*heads: str, right: Sequence[str] = ()) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    for head in heads:
        table.add_column(head, justify="right" if head in right else "left")
    return table


def _mark(*, simulated: bool) -> str:
    return "  SIMULATED" if simulated else ""


def _print_model(model: HeadModel) -> None:
    say(f"head {model.head.designation}{_mark(simulated=model.simulated)}")
    table = _table("parameter", "value", "from", "to", "unit", "known from", right=_NUMBERS)
    for each in model.parameters:
        low, high = f"{each.low:.4g}", f"{each.high:.4g}"
        table.add_row(
            each.label, f"{each.value:.4g}", low, high, printed_unit(each.unit),
            f"{each.origin}: {each.basis}",
        )  # fmt: skip
    console.print(table)
    say("from, to: 95 % interval of what is calibrated, else the range that is thought possible")
    for fit in model.fits:
        _print_fit(fit)
    for none in model.cannot_say:
        say(f"cannot say: {none.subject}: {none.why}")
        say(f"            {none.mend}")


_NUMBERS = ("value", "from", "to")


def _print_fit(fit: Fit) -> None:
    unit = printed_unit(fit.residual_unit)
    runs = f"{len(fit.runs)} run{'s' if len(fit.runs) > 1 else ''}"
    say(
        f"{fit.subject}: {runs}, {fit.points} readings, left over {fit.residual_rms:.3g} {unit} rms"
    )
    for caution in fit.cautions:
        say(f"  - {caution}")


def _print_prediction(found: Prediction) -> None:
    say(
        f"{found.recipe.name} on head {found.head}, {found.wafers} wafers, "
        f"{found.process_time_s:.0f} s{_mark(simulated=found.simulated)}"
    )
    for line in found.calibrate_first:
        say(f"calibrate first: {line}")
    table = _table("quantity", "median", "from", "to", "unit", right=("median", "from", "to"))
    dry = () if found.dry_time is None else (found.dry_time,)
    for each in (*dry, *found.estimates):
        table.add_row(each.label, _middle(each), *_ends(each), printed_unit(each.unit))
    console.print(table)
    for odds in found.odds:
        say(f"{odds.label}: {_percent(odds.probability)} ({found.draws} draws)")
    if found.influences:
        say("what would change the dry time most:")
        ranks = _table("parameter", "alone", "in all", "known from", right=("alone", "in all"))
        for rank in found.influences[:6]:
            total = f"{rank.total:.2f} ± {2 * rank.error:.2f}"
            ranks.add_row(rank.label, f"{max(rank.first, 0.0):.2f}", total, rank.origin)
        console.print(ranks)
    _cautions(found.cautions)


def _print_advice(found: Advice) -> None:
    say(
        f"head {found.head}, {found.wafers} wafers, {found.tried} recipes tried"
        f"{_mark(simulated=found.simulated)}"
    )
    for line in found.calibrate_first:
        say(f"calibrate first: {line}")
    heads = ("", "time, s", "dry", "left, g", "dry after, s", f"cost, {found.cost_unit}")
    table = _table(*heads, "best at", right=heads)
    recipes = _table("", "purge", "fast dry", "final dry", "ramp", right=("",))
    for number, each in enumerate(found.front, start=1):
        table.add_row(str(number), *_row(each))
        recipes.add_row(str(number), *_recipe_row(each.recipe))
    console.print(table)
    say("left: 97.5 % are below; others: median (95 % interval)")
    console.print(recipes)
    say("the rinse is the customer's")
    _cautions(found.cautions)


def _row(each: Candidate) -> tuple[str, ...]:
    return (
        f"{each.process_time_s:.0f}",
        _percent(each.dry.probability),
        f"≤ {each.residual_g.high:.2g}",
        _between(each.dry_time),
        f"{each.cost.median:.3f} ± {(each.cost.high - each.cost.low) / 2:.3f}",
        ", ".join(each.best_at),
    )


def _recipe_row(recipe: Recipe) -> tuple[str, ...]:
    dry = (f"{s.duration_s:g} s at {s.speed_rpm:g} rpm" for s in recipe.steps if not s.water)
    return (*dry, f"{recipe.steps[0].ramp_rpm_per_s:g} rpm/s")


def _between(each: Estimate) -> str:
    low, high = _ends(each)
    return f"{_middle(each)} ({low} … {high})"


def _middle(each: Estimate) -> str:
    return _later(each.median, each)


def _later(value: float, each: Estimate) -> str:
    """Say that a value lies beyond the time looked ahead, where it does."""
    return f"> {_short(value)}" if each.censored and value >= each.high else _short(value)


def _ends(each: Estimate) -> tuple[str, str]:
    return _later(each.low, each), _later(each.high, each)


def _short(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def _percent(share: float) -> str:
    if share < 0.001 or share > 0.999:
        return "< 0.1 %" if share < 0.001 else "> 99.9 %"
    return f"{100 * share:.1f} %"


def _cautions(cautions: Sequence[str]) -> None:
    for caution in cautions:
        say(f"caution: {caution}")


def _write(folder: Path, charts: dict[str, str]) -> None:
    from spinproof.app.predicting import write_charts

    for path in write_charts(folder, charts):
        say(f"chart: {path}")
