"""``spinproof rejudge``, ``drift``: stored runs under other limits, and as a series."""

from pathlib import Path
from typing import Annotated

import typer

from spinproof.cli.job import Head, HomeFolder, opened
from spinproof.cli.show import console, say
from spinproof.model.limit import LimitSet


def rejudge(
    home: HomeFolder,
    runs: Annotated[
        list[str] | None, typer.Argument(help="Runs; else all that are stored.")
    ] = None,
    head: Annotated[str | None, typer.Option(help="All runs of this head.")] = None,
    limits: Annotated[
        Path | None, typer.Option(help="Limits, TOML; else those of each run's last judgement.")
    ] = None,
    by: Annotated[
        str | None, typer.Option(help="Keep the new judgements, in this name; else only compare.")
    ] = None,
    workers: Annotated[int, typer.Option(min=1, max=64, help="Processes at work.")] = 1,
    cluster: Annotated[
        str | None,
        typer.Option(help="Scheduler of a cluster that judges instead, tcp://HOST:PORT."),
    ] = None,
) -> None:
    """Judge stored runs anew beside their old judgements; ends with 1 when one differs."""
    from spinproof.app.documents import read_document
    from spinproof.app.rejudging import Standing, stored_runs
    from spinproof.app.rejudging import rejudge as judge_anew

    limit_set = None if limits is None else read_document(limits, LimitSet)
    with opened(home) as (folders, ledger), console.status("judging") as status:
        found = judge_anew(
            folders,
            ledger,
            tuple(runs or stored_runs(ledger, head)),
            limits=limit_set,
            by=by,
            workers=workers,
            cluster=cluster,
            on_progress=lambda done, all_: status.update(f"{done} of {all_} runs judged"),
        )
    told = [one for one in found if one.standing not in {Standing.SAME, Standing.DONE_BEFORE}]
    for one in told:
        say(f"{one.run}: {one.standing}, {one.outcome}")
        for change in one.changes:
            say(f"  - {change}")
    counts = [(standing, sum(one.standing is standing for one in found)) for standing in Standing]
    say(", ".join(f"{count} {standing}" for standing, count in counts if count) or "no run")
    if told:
        raise typer.Exit(1)


def drift(
    head: Head,
    home: HomeFolder,
    campaign: Annotated[
        int | None, typer.Option(min=1, help="Number of the campaign; else the last one.")
    ] = None,
    *,
    every: Annotated[
        bool, typer.Option("--every", help="Each series that was looked at, not only those.")
    ] = False,
) -> None:
    """Say what drifts over the runs of a burn-in, since when, and when it meets its limit."""
    from spinproof.app.drifting import drift_of_head

    with opened(home) as (_, ledger):
        found = drift_of_head(ledger, head, campaign)
    for text in found.words:
        say(f"SIMULATED  {text}" if found.simulated and text is found.words[0] else text)
    for one in found.series:
        if every or one.drifts or one.jolts:
            say(f"  - {one.words}")
