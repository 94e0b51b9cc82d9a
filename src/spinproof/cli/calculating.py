"""``spinproof calculate``: the calculators of the bench by command."""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.table import Table

from spinproof.cli.job import opened
from spinproof.cli.show import MARKS, console, say
from spinproof.model.calculation import Calculation, Result
from spinproof.model.errors import DocumentError

if TYPE_CHECKING:
    from spinproof.app.calculators.calculator import Calculator, Field


def calculate(
    name: Annotated[
        str | None, typer.Argument(help="Calculator; without one, all are listed.")
    ] = None,
    inputs: Annotated[
        list[str] | None,
        typer.Argument(help='Inputs as key=value with units, for example mass="16.2 kg".'),
    ] = None,
    file: Annotated[Path | None, typer.Option(help="Inputs, TOML; tables as [[rows]].")] = None,
    job: Annotated[
        str | None, typer.Option(help="Job, or head, that the calculation is kept with.")
    ] = None,
    home: Annotated[Path | None, typer.Option(help="Home folder of the shop, to keep it.")] = None,
    by: Annotated[str | None, typer.Option(help="Role code or name of who keeps it.")] = None,
    figure: Annotated[Path | None, typer.Option(help="Write the drawing here, as SVG.")] = None,
    *,
    example: Annotated[
        bool, typer.Option("--example", help="Print the inputs of an example, as TOML.")
    ] = False,
) -> None:
    """Calculate at the bench, and keep the answer with its job (--job, --home, --by)."""
    if name is None:
        _list()
        return
    from spinproof.app.calculating import calculate as work_out
    from spinproof.app.calculating import calculator_named

    calculator = calculator_named(name)
    if example:
        say(_toml(calculator.example))
        return
    typed = {**(_from_file(file) if file else {}), **_from_words(inputs or [])}
    if not typed:
        _describe(calculator)
        return
    found = work_out(name, typed)
    _print(found)
    if figure is not None:
        _draw(name, typed, figure)
    if job is not None:
        _keep(found, job, home, by)


def _list() -> None:
    from spinproof.app.calculators.registry import CALCULATORS

    table = Table(box=None, pad_edge=False, header_style="bold")
    for head in ("calculator", "answers"):
        table.add_column(head)
    for each in CALCULATORS.values():
        table.add_row(each.name, each.task)
    console.print(table)
    say("spinproof calculate NAME tells what it asks for; --example prints an example to fill in.")


def _describe(calculator: "Calculator") -> None:
    say(f"{calculator.title}: {calculator.task}")
    table = Table(box=None, pad_edge=False, header_style="bold")
    for head in ("input", "what it is", "units", "example"):
        table.add_column(head)
    for key, each in _all_fields(calculator):
        optional = "" if each.required else " (may be left out)"
        table.add_row(
            key,
            f"{each.label}{optional}",
            ", ".join(each.units or each.options) or "plain",
            each.example.split("\n")[0],
        )
    console.print(table)
    say("A standard uncertainty follows as NAME.u, for example mass.u=1%. Cautions:")
    for caution in calculator.cautions:
        say(f"  - {caution}")


def _all_fields(calculator: "Calculator") -> "Iterator[tuple[str, Field]]":
    for each in calculator.fields:
        if each.columns:
            yield from ((f"{each.name}.N.{column.name}", column) for column in each.columns)
        else:
            yield each.name, each


def _from_words(words: Sequence[str]) -> dict[str, str]:
    typed = {}
    for word in words:
        key, equals, text = word.partition("=")
        if not equals or not key.strip():
            raise DocumentError(
                f'"{word}" is no input',
                where="the command line",
                mend='Write inputs as key=value, for example mass="16.2 kg".',
            )
        typed[key.strip()] = text
    return typed


def _from_file(path: Path) -> dict[str, str]:
    from spinproof.app.documents import read_text

    try:
        content = tomllib.loads(read_text(path))
    except tomllib.TOMLDecodeError as error:
        raise DocumentError(
            f"the file is not TOML ({error})", where=str(path), mend="Mend that line."
        ) from error
    return dict(_flat(content, path))


def _flat(content: Mapping[str, object], path: Path) -> Iterator[tuple[str, str]]:
    for key, value in content.items():
        if isinstance(value, list) and all(isinstance(row, dict) for row in value):
            for place, row in enumerate(value, start=1):
                for column, cell in _flat(row, path):
                    yield f"{key}.{place}.{column}", cell
        elif isinstance(value, dict):
            for rest, cell in _flat(value, path):
                yield f"{key}.{rest}", cell
        elif isinstance(value, str | int | float) and not isinstance(value, bool):
            yield key, str(value)
        else:
            raise DocumentError(
                f"{key} is neither text nor a number",
                where=str(path),
                mend='Write it as text with its unit, for example mass = "16.2 kg".',
            )


def _toml(typed: Mapping[str, str]) -> str:
    plain = {key: text for key, text in typed.items() if "." not in key}
    lines = [f"{key} = {_quoted(text)}" for key, text in plain.items()]
    tables: dict[tuple[str, str], list[str]] = {}
    for key, text in typed.items():
        if key not in plain:
            table, place, column = key.split(".", 2)
            tables.setdefault((table, place), []).append(f"{column} = {_quoted(text)}")
    for (table, _), cells in tables.items():
        lines += ["", f"[[{table}]]", *cells]
    return "\n".join(lines)


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _print(found: Calculation) -> None:
    for caution in found.cautions:
        say(f"caution: {caution}")
    for warning in found.warnings:
        say(f"mind: {warning}")
    table = Table(title=found.title, title_justify="left", box=None, pad_edge=False)
    for head in ("result", "value (± U, k = 2)", "what to know"):
        table.add_column(head)
    for each in found.results:
        table.add_row(each.label, _value(each), each.note or "")
    console.print(table)
    say(f"formula: {'; '.join(found.formula)}")
    say(f"off by: {found.model_error}")
    say(f"source: {'; '.join(found.sources)}")


def _value(result: Result) -> str:
    from spinproof.web.wording import bracket, calculated

    mark = f"{MARKS[result.verdict]}: " if result.verdict else ""
    between = f" ({bracket(result)})" if bracket(result) else ""
    return f"{mark}{calculated(result)}{between}"


def _draw(name: str, typed: Mapping[str, str], path: Path) -> None:
    from spinproof.app.calculating import write_figure

    write_figure(name, typed, path)
    say(f"drawing: {path}")


def _keep(found: Calculation, job: str, home: Path | None, by: str | None) -> None:
    from spinproof.app.calculating import CalculationDesk

    if home is None or by is None:
        raise DocumentError(
            "a calculation is kept in a home folder, in somebody's name",
            where="the command line",
            mend="Give --home and --by beside --job.",
        )
    with opened(home) as (_, ledger):
        entry = CalculationDesk(ledger).keep(found, job, by)
    say(f"kept as calculation {entry.id} of {entry.unit or entry.job}")
