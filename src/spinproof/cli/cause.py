"""``spinproof cause``: what may lie behind a run."""

from typing import Annotated

import typer

from spinproof.cli.job import HomeFolder, opened
from spinproof.cli.show import say


def cause(
    run: Annotated[str, typer.Argument(help="Name of the run.")],
    home: HomeFolder,
    *,
    every: Annotated[
        bool, typer.Option("--every", help="Each cause worth telling, not only the first.")
    ] = False,
) -> None:
    """Rank likely causes of what a run showed, with the check that would settle each."""
    from spinproof.app.causes import diagnose_run

    with opened(home) as (_, ledger):
        found = diagnose_run(ledger, run)
    for text in found.words:
        say(text)
    for one in found.causes if every else found.causes[:1]:
        say(f"{one.words} (share {one.share:.2f}): {one.why}")
        for text in one.evidence_for:
            say(f"  + {text}")
        for text in one.evidence_against:
            say(f"  - {text}")
        say(f"  check: {one.check}")
    say("A suggestion: a person settles the cause.")
