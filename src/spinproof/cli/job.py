"""``spinproof take-in``, ``configure``, ``campaign``, ``burn-in`` ...: a job in the ledger."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spinproof.cli.show import console, print_attempts, say
from spinproof.cli.stand import address, live_line
from spinproof.model.channel_map import ChannelMap
from spinproof.model.configuration import Configuration
from spinproof.model.head import HeadSpec
from spinproof.model.job import JobFile
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.model.run import Outcome

if TYPE_CHECKING:
    from spinproof.app.burn_in import RunDone, Station
    from spinproof.app.home import Home
    from spinproof.app.intake import Ledger
    from spinproof.app.recording import OnProgress

HomeFolder = Annotated[Path, typer.Option("--home", help="Home folder of the shop.")]
By = Annotated[str, typer.Option(help="Role code or name of the person who does this.")]
Head = Annotated[str, typer.Argument(help="Designation of the head.")]


@contextmanager
def opened(home: Path) -> "Iterator[tuple[Home, Ledger]]":
    """Open a home folder with its ledger, say what a crash left behind, and close it after."""
    from spinproof.app.home import open_home
    from spinproof.app.intake import open_shop_ledger
    from spinproof.app.recovery import recover_home

    folders = open_home(home)
    ledger = open_shop_ledger(folders)
    try:
        for sentence in recover_home(folders, ledger):
            say(f"recovered: {sentence}")
        yield folders, ledger
    finally:
        ledger.close()


def take_in(
    job: Annotated[Path, typer.Argument(help="Job file, TOML.")], home: HomeFolder, by: By
) -> None:
    """Take in a job: order, machine, heads, shared module and agreed scope."""
    from spinproof.app.documents import read_document
    from spinproof.app.intake import take_in as take_job_in

    content = read_document(job, JobFile)
    with opened(home) as (_, ledger):
        entry = take_job_in(ledger, content, by=by)
    say(f"job {entry.name}, {entry.order}, is open")


def configure(
    configuration: Annotated[Path, typer.Argument(help="Configuration, TOML.")],
    head: Annotated[Path, typer.Option(help="Head spec, TOML.")],
    channels: Annotated[Path, typer.Option(help="Channel map, TOML.")],
    limits: Annotated[Path, typer.Option(help="Limits, TOML.")],
    home: HomeFolder,
    by: By,
) -> None:
    """Record what a head is made of and set to; a change closes the open campaign."""
    from spinproof.app.documents import read_document
    from spinproof.app.intake import HeadSetup
    from spinproof.app.intake import configure as configure_head

    setup = HeadSetup(
        read_document(configuration, Configuration),
        read_document(head, HeadSpec),
        read_document(channels, ChannelMap),
        read_document(limits, LimitSet),
    )
    with opened(home) as (_, ledger):
        entry = configure_head(ledger, setup, by=by)
    say(f"{setup.head.designation} has configuration {entry.fingerprint[:16]} since {entry.since}")


def campaign(
    plan: Annotated[Path, typer.Argument(help="Plan, from `spinproof plan --out`.")],
    home: HomeFolder,
    by: By,
) -> None:
    """Begin a burn-in under a plan and the head's present configuration."""
    from spinproof.app.burn_in import open_campaign
    from spinproof.app.planning import read_plan

    content = read_plan(plan)
    with opened(home) as (_, ledger):
        entry = open_campaign(ledger, content.head, content, by=by)
    say(f"campaign {entry.number} of {entry.head} is open: {len(content.runs)} runs planned")


def burn_in(
    head: Head,
    stand: Annotated[str, typer.Option(help="Address of the stand, host:port.")],
    home: HomeFolder,
    by: By,
    runs: Annotated[int, typer.Option(help="How many planned runs to make.")] = 1,
    *,
    start: Annotated[
        bool, typer.Option("--start", help="Start the runs; a SIMULATED stand alone accepts it.")
    ] = False,
) -> None:
    """Make the next planned runs: number, record, judge, store. Stops at the first that fails."""
    from spinproof.app.runner import run_series

    outcomes = []

    def say_run(done: "RunDone") -> None:
        outcomes.append(done.outcome)
        _say_run(done)

    with opened(home) as (folders, ledger):
        station = _station(folders, ledger, head, stand, by, start=start)
        with _showing(_next_recipe(station)) as on_progress:
            state = run_series(station, runs, on_run=say_run, on_progress=on_progress)
    if len(state.made) < runs and outcomes[-1] is Outcome.COUNTED:
        say(f"stopped after {len(state.made)} of {runs} runs: {state.because}")
    if outcomes[-1] is not Outcome.COUNTED:
        raise typer.Exit(1)


def witness(
    head: Head,
    recipe: Annotated[Path, typer.Option(help="The customer's recipe, TOML.")],
    load: Annotated[Path, typer.Option(help="The customer's load, TOML.")],
    stand: Annotated[str, typer.Option(help="Address of the stand, host:port.")],
    home: HomeFolder,
    by: By,
    *,
    start: Annotated[
        bool, typer.Option("--start", help="Start the run; a SIMULATED stand alone accepts it.")
    ] = False,
) -> None:
    """Make the run of the source inspection, once every planned run has counted."""
    from spinproof.app.burn_in import make_witnessed_run
    from spinproof.app.documents import read_document

    asked, wafers = read_document(recipe, Recipe), read_document(load, Load)
    with opened(home) as (folders, ledger):
        station = _station(folders, ledger, head, stand, by, start=start)
        with _showing(asked) as on_progress:
            done = make_witnessed_run(station, asked, wafers, on_progress=on_progress)
    _say_run(done)
    if done.outcome is not Outcome.COUNTED:
        raise typer.Exit(1)


def classify(
    run: Annotated[str, typer.Argument(help="Name of the run, for example QA-1041-L-027.")],
    outcome: Annotated[Outcome, typer.Argument(help="What became of it.")],
    reason: Annotated[str, typer.Option(help="Why, in a sentence.")],
    home: HomeFolder,
    by: By,
    second: Annotated[str | None, typer.Option(help="Second name, who looked too.")] = None,
    evidence: Annotated[list[Path] | None, typer.Option(help="File that shows the cause.")] = None,
) -> None:
    """Decide on a run as a person. An outside cause needs evidence and a second name."""
    from spinproof.app.burn_in import classify_run
    from spinproof.app.evidence_desk import hold_evidence

    with opened(home) as (folders, ledger):
        with ledger.reading() as reading:
            job = reading.run(run).job
        held = [
            hold_evidence(folders, ledger, job, path, f"Shown for {run}: {reason}", by=by).sha256
            for path in evidence or ()
        ]
        entry = classify_run(
            ledger, run, outcome, by=by, reasons=(reason,), evidence=tuple(held), second=second
        )
    say(f"{run} is {entry.outcome}, decided by {entry.decided_by}")


def attempts(head: Head, home: HomeFolder) -> None:
    """List all attempts of a head and how they add up."""
    from spinproof.app.burn_in import attempts as attempts_of

    with opened(home) as (_, ledger):
        made, tally = attempts_of(ledger, head)
    print_attempts(made, tally)


def claims(head: Head, home: HomeFolder) -> None:
    """Say what the burn-in of a head supports so far, and what it does not say."""
    from spinproof.app.claims import claims_of_head

    with opened(home) as (_, ledger):
        words = claims_of_head(ledger, head)
    if not words.claims:
        say("no run has counted or failed yet: there is nothing to claim")
        return
    for text in (*words.claims, *words.beside):
        say(f"- {text}")
    say("These numbers do not say:")
    for text in words.not_said:
        say(f"  - {text}")


@contextmanager
def _showing(recipe: Recipe | None) -> "Iterator[OnProgress]":
    """Show a live line while a run is made."""
    with console.status("waiting for the run to begin") as status:
        yield lambda progress: status.update(live_line(recipe, progress))


def why(
    head: Head,
    step: Annotated[str, typer.Argument(help='A checkpoint or action, for example "wet test".')],
    home: HomeFolder,
) -> None:
    """Say in sentences why a head has not passed a checkpoint, or may not do something yet."""
    from spinproof.app.gates import step_named
    from spinproof.app.gates import why as reasons_against

    asked = step_named(step)
    with opened(home) as (_, ledger), ledger.reading() as reading:
        reasons = reasons_against(reading, head, asked)
    for sentence in reasons or (f"nothing on record stands against {step} of {head}",):
        say(sentence)
    if reasons:
        raise typer.Exit(1)


def next_steps(head: Head, home: HomeFolder) -> None:
    """Say where a head stands, what may come next, and why the rest may not."""
    from spinproof.app.gates import next_steps as steps_of

    with opened(home) as (_, ledger), ledger.reading() as reading:
        found = steps_of(reading, head)
    say(f"{found.head}: {found.state}")
    for mark, sentences in (("may", found.may), ("not yet", found.may_not), ("also", found.beside)):
        for sentence in sentences:
            say(f"  {mark}: {sentence}")


def _station(
    home: "Home", ledger: "Ledger", head: str, stand: str, by: str, *, start: bool
) -> "Station":
    from spinproof.app.burn_in import Station

    return Station(home, ledger, head, address(stand), operator=by, simulated_start=start)


def _next_recipe(station: "Station") -> Recipe | None:
    with station.ledger.reading() as reading:
        planned = reading.next_planned(station.head)
    return planned.recipe if planned else None


def _say_run(done: "RunDone") -> None:
    say(f"{done.entry.name}: {done.outcome}  ({done.tally})")
    for reason in done.judgement.reasons if done.outcome is not Outcome.COUNTED else ():
        say(f"  - {reason}")
    if done.judgement.outside_cause:
        say(f"  - points to an outside cause: {done.judgement.outside_cause}")
