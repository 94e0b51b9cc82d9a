"""``spinproof demo``: the whole job, played."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from spinproof.cli.show import console, say

if TYPE_CHECKING:
    from spinproof.app.burn_in import RunDone
    from spinproof.app.demo import DemoDone

Home = Annotated[Path, typer.Option(help="Home folder of the demo; an earlier demo in it goes.")]
Serve = Annotated[bool, typer.Option("--serve/--no-serve", help="Serve the pages afterwards.")]
Port = Annotated[int, typer.Option(help="Port of the pages; 0 takes a free one.")]


def demo(home: Home = Path("out/demo"), *, serve: Serve = True, port: Port = 0) -> None:
    """Play an invented job over the wire, from take-in to the verified dossier."""
    done = _play(home)
    if not serve:
        _report(done)
        return
    from spinproof.web.serving import serve as serve_pages

    def report(address: str) -> None:
        say(f"pages: {address} until Ctrl-C")
        _report(done)

    serve_pages(done.home, port=port, on_ready=report)


def _play(home: Path) -> "DemoDone":
    from spinproof.app.demo import EXPECTED_RUNS, play_demo

    columns = (
        TextColumn("{task.description:42}"),
        BarColumn(bar_width=24),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=console, disable=not console.is_terminal) as progress:
        bar = progress.add_task("runs", total=EXPECTED_RUNS)

        def show_run(done: "RunDone") -> None:
            progress.update(bar, advance=1, description=f"{done.entry.name} {done.outcome}")
            if not console.is_terminal and done.entry.number % 10 == 0:
                say(f"  {done.entry.number} of about {EXPECTED_RUNS} runs: {done.tally}")

        return play_demo(home, say=say, on_run=show_run)


def _report(done: "DemoDone") -> None:
    for finding in done.verification.findings:
        say(f"  {finding}")
    say(f"fingerprint: {done.dossier.fingerprint}")
    say(str(done.dossier.tally))
    say(f"dossier: {done.dossier.path}")
    say(f"verified: {'yes' if done.verification.ok else 'no'}")
    if not done.verification.ok:
        raise typer.Exit(1)
