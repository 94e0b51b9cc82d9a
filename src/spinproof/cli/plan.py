"""``spinproof plan``: a burn-in inside a head's envelope, with its measures and what it takes."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from spinproof.cli.show import console, print_plan, say
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.plan import Budgets
from spinproof.model.quantity import Dimension, parse_quantity
from spinproof.model.recipe import Recipe

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from spinproof.model.plan_quality import Compared, Forecast, PlanQuality

FEW = 6
"""How many missing pairs are named before the rest is counted."""


def plan(
    head: Annotated[Path, typer.Option(help="Head spec with its envelope, TOML.")],
    recipe: Annotated[list[Path], typer.Option(help="A customer's recipe, TOML; may repeat.")],
    load: Annotated[Path, typer.Option(help="The customer's load, TOML.")],
    runs: Annotated[int, typer.Option(help="How many runs to plan.")] = 54,
    seed: Annotated[int, typer.Option(help="Seed of every random draw.")] = 1,
    name: Annotated[str, typer.Option(help="Name of the plan.")] = "burn-in",
    out: Annotated[Path | None, typer.Option(help="Write the plan here, as JSON.")] = None,
    tables: Annotated[
        Path | None, typer.Option(help="Folder for plan_unit.csv and plan_levels.csv.")
    ] = None,
    time: Annotated[str | None, typer.Option(help='Budget of time with all pauses, "9 h".')] = None,
    water: Annotated[str | None, typer.Option(help='Budget of DI water, "900 L".')] = None,
    nitrogen: Annotated[
        str | None, typer.Option(help='Budget of nitrogen at 0 degC and 101.325 kPa, "60 m3".')
    ] = None,
) -> None:
    """Plan a burn-in inside a head's envelope, and set it beside two ordinary generators."""
    from spinproof.app.documents import read_document
    from spinproof.app.planning import (
        compare_plan,
        export_tables,
        forecast_of,
        plan_burn_in,
        write_plan,
    )

    spec = read_document(head, HeadSpec)
    budgets = Budgets(
        time_h=_amount(time, Dimension.TIME, "h", "--time"),
        water_l=_amount(water, Dimension.VOLUME, "L", "--water"),
        nitrogen_m3=_amount(nitrogen, Dimension.VOLUME, "m3", "--nitrogen"),
    )
    customer = [read_document(path, Recipe) for path in recipe]
    with console.status("planning; the first plan after an installation compiles its searches"):
        content = plan_burn_in(
            name,
            spec,
            customer,
            read_document(load, Load),
            runs=runs,
            seed=seed,
            budgets=budgets,
        )
        compared = compare_plan(content, spec)
    print_plan(content)
    print_forecast(forecast_of(content, spec))
    print_compared(compared)
    if out is not None:
        write_plan(content, out)
        say(f"plan: {out}")
    if tables is not None:
        for path in export_tables(content, spec, tables):
            say(f"table: {path}")


def _amount(text: str | None, dimension: Dimension, unit: str, option: str) -> float | None:
    return None if text is None else parse_quantity(text, dimension, where=option).to(unit).value


def print_forecast(forecast: "Forecast") -> None:
    """Print what a plan takes, and the odds of ending it at the first go."""
    warmest = max(forecast.along, key=lambda step: step.drive)
    shifts = "1 shift" if forecast.blocks == 1 else f"{forecast.blocks} shifts"
    say(
        f"It takes {forecast.total_s / 3600:.1f} h in {shifts}, "
        f"{forecast.pauses_s / 3600:.1f} h of it pauses; {forecast.water_l:.0f} L of water and "
        f"{forecast.nitrogen_m3:.1f} m3 of nitrogen (0 degC, 101.325 kPa). The drive is warmest "
        f"after run {warmest.number}: {warmest.drive:.0%} of what its duty limit means for ever."
    )
    odds = "; ".join(
        f"{each.reliability:.1%} of runs good: {each.without_restart:.1%}, "
        f"{each.expected_runs:.0f} runs to expect"
        for each in forecast.odds
    )
    say(f"Odds of ending without a restart, if {odds}.")


def print_compared(compared: "Sequence[Compared]") -> None:
    """Print the measures of a plan beside those of ordinary generators."""
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("measure, (+) more or (-) less is better")
    for heading in ("plan", "(a)", "(b)"):
        table.add_column(heading, justify="right")
    for words, show in MEASURES.items():
        table.add_row(words, *(show(each.quality) for each in compared))
    console.print(table)
    for letter, each in zip("ab", compared[1:], strict=True):
        say(f"({letter}) {each.name}; as many points as the plan has different recipes")
    own = compared[0].quality
    for what, names in (
        ("No run shows", own.missing_pairs),
        ("The constraints leave out, and nobody counts", own.infeasible_pairs),
    ):
        if names:
            more = f" and {len(names) - FEW} more" if len(names) > FEW else ""
            say(f"{what}: {'; '.join(names[:FEW])}{more}.")


MEASURES: "dict[str, Callable[[PlanQuality], str]]" = {
    "smallest distance of two recipes (+)": lambda q: f"{q.smallest_distance:.3f}",
    "the same for chosen ones (+)": lambda q: f"{q.chosen_distance:.3f}",
    "mean distance to the nearest (+)": lambda q: f"{q.mean_nearest:.3f}",
    "energy distance to the feasible set (-)": lambda q: f"{q.energy:.4f}",
    "farthest feasible point from a run (-)": lambda q: f"{q.fill_radius:.3f}",
    "centred L2 discrepancy, squared (-)": lambda q: f"{q.discrepancy:.4f}",
    "widest gap of one factor (-)": lambda q: f"{q.projection_gap:.3f}",
    "pairs of levels seen (+)": lambda q: str(q.pairs),
    "triples of levels seen (+)": lambda q: str(q.triples),
    "correlation with the order (-)": lambda q: f"{q.order_correlation:.3f}",
}
