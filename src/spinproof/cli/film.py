"""``spinproof film``: films of runs."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spinproof.cli.show import say
from spinproof.model.film import Match
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe

if TYPE_CHECKING:
    from spinproof.model.film import Alignment, Cue, FilmFacts

film = typer.Typer(no_args_is_help=True, help="Films of runs: looked at, aligned, published.")

FilmFile = Annotated[Path, typer.Argument(help="MP4, MOV or MKV.")]
TraceFile = Annotated[Path, typer.Option(help="Sealed trace of the run it shows.")]
Syncs = Annotated[
    list[float] | None, typer.Option("--sync", help="Run time of a sync mark, in s; repeat.")
]
Others = Annotated[
    list[Path] | None, typer.Option("--other", help="Another sealed run of the recipe; repeat.")
]
Out = Annotated[Path, typer.Option("--out", help="Where the new film goes, MP4.")]


@film.command()
def look(file: FilmFile) -> None:
    """Tell what a film holds, and whether it is one uncut take."""
    from spinproof.app.film import look_at_film

    seen = look_at_film(file)
    _print_facts(seen.facts)
    say(seen.take.words)
    for cut in seen.take.cuts:
        say(f"  {cut.words}")


@film.command("take-in")
def take_in(file: FilmFile, out: Out) -> None:
    """Seal a film by its hash, and write a copy without place, device and other metadata."""
    from spinproof.app.film import take_film_in

    facts, copy = take_film_in(file, out)
    _print_facts(facts)
    say(f"copy {out}: SHA-256 {copy.sha256}")
    say("picture packets the same: SHA-256 " + copy.packets_sha256)
    say("left out: " + (", ".join(copy.removed) or "nothing was there"))


@film.command()
def align(file: FilmFile, trace: TraceFile, sync: Syncs = None, other: Others = None) -> None:
    """Hold a film against a sealed trace: its clock's offset, and whether it shows this run."""
    from spinproof.app.film import align_film

    found = align_film(file, trace, sync or (), other or ())
    _print_alignment(found)
    if found.match is not Match.ACCEPTED:
        raise typer.Exit(1)


@film.command()
def publish(
    file: FilmFile, trace: TraceFile, out: Out, sync: Syncs = None, other: Others = None
) -> None:
    """Encode a film anew with cards, a strip of the trace's readings, captions and chapters."""
    from spinproof.app.film import align_film, publish_film

    found = align_film(file, trace, sync or (), other or ())
    _print_alignment(found)
    done = publish_film(file, trace, out, found, lambda at: say(f"  {at:.0f} s of film done"))
    say(f"{out}: {done.film} frames of the film, {done.cards} of cards; captions beside it")


@film.command("cue-sheet")
def cue_sheet(
    recipe: Annotated[Path, typer.Option(help="Recipe, TOML.")],
    head: Annotated[Path, typer.Option(help="Head, TOML.")],
    load: Annotated[Path, typer.Option(help="Load, TOML.")],
    exclude: Annotated[list[str] | None, typer.Option(help="What is not in scope; repeat.")] = None,
) -> None:
    """Write what a presenter shows and says, and when, from recipe, head and load."""
    from spinproof.app.documents import read_document
    from spinproof.app.film import cue_sheet as sheet_of

    sheet = sheet_of(
        read_document(recipe, Recipe),
        read_document(head, HeadSpec),
        read_document(load, Load),
        exclude or (),
    )
    say(f"Cue sheet: head {sheet.head}, {sheet.recipe}; {sheet.words_per_minute:g} words a minute")
    _list("Not in scope, said first", sheet.exclusions or ("nothing was given",))
    _list("Before filming", sheet.before_filming)
    _list("Never say", sheet.never_say)
    for cue in sheet.cues:
        _print_cue(cue)


def _list(title: str, lines: tuple[str, ...]) -> None:
    say(title)
    for line in lines:
        say(f"  - {line}")


def _print_cue(cue: "Cue") -> None:
    say(f"{cue.run_s:8.1f} s  {cue.event}; show: {cue.show}")
    late = f", {cue.too_long_by_s:.0f} s too long" if cue.too_long_by_s else ""
    say(f"            say ({cue.say_s:.0f} s{late}): {cue.say}")


def _print_facts(facts: "FilmFacts") -> None:
    say(
        f"{facts.width} x {facts.height}, turned {facts.rotation}°, {facts.frames} frames in"
        f" {facts.duration_s:.2f} s, {facts.rate_hz:.3g} a second; {facts.codec};"
        f" sound {facts.sound.state.value}"
    )
    say(f"SHA-256 {facts.sha256}")
    for remark in facts.remarks:
        say(remark)


def _print_alignment(found: "Alignment") -> None:
    say(
        f"{found.match.value}: film time {found.middle_film_s:.3f} s is run time"
        f" {found.middle_run_s:.3f} s, ± {1e3 * found.expanded_uncertainty_s:.0f} ms (95 %);"
        f" drift {1e6 * found.drift:+.0f} ± {2e6 * found.drift_standard_uncertainty:.0f} ppm"
    )
    for one in found.witnesses:
        spread = 1e3 * one.standard_uncertainty_s
        say(
            f"  {one.kind.value} at run time {one.run_s:.1f} s: film time {one.film_s:.3f} s,"
            f" u {spread:.0f} ms, {one.words}"
        )
    for words in found.words:
        say(words)
