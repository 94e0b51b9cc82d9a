"""The command line: ``spinproof COMMAND``."""

import sys

import typer

from spinproof.cli import (
    archive,
    calculating,
    cause,
    customer,
    demo,
    evidence,
    film,
    job,
    keys,
    people,
    plan,
    predicting,
    proof,
    safekeeping,
    severity,
    sources,
    stand,
)
from spinproof.model.errors import SpinproofError
from spinproof.model.software import SOFTWARE

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Qualify refurbished spin rinse dryers: plan, record, judge, prove, hand over.",
)

TRY = "Try it"
BENCH = "At the bench"
JOB = "A job in the ledger"
PROOF = "Proof"
KEEP = "Keep it safe"

app.command(rich_help_panel=TRY)(demo.demo)
app.command("virtual-head", rich_help_panel=TRY)(stand.virtual_head)
app.command(rich_help_panel=TRY)(proof.serve)
app.command(rich_help_panel=BENCH)(plan.plan)
app.command(rich_help_panel=BENCH)(stand.record)
app.command("import", rich_help_panel=BENCH)(stand.import_trace)
app.command(rich_help_panel=BENCH)(proof.judge)
app.command(rich_help_panel=BENCH)(archive.rejudge)
app.command(rich_help_panel=BENCH)(archive.drift)
app.command("cause", rich_help_panel=BENCH)(cause.cause)
app.command(rich_help_panel=BENCH)(severity.severity)
app.add_typer(sources.sources, name="sources", rich_help_panel=BENCH)
app.command(rich_help_panel=BENCH)(calculating.calculate)
app.command(rich_help_panel=BENCH)(predicting.calibrate)
app.command(rich_help_panel=BENCH)(predicting.predict)
app.command(rich_help_panel=BENCH)(predicting.advise)
app.command("take-in", rich_help_panel=JOB)(job.take_in)
app.command(rich_help_panel=JOB)(job.configure)
app.command(rich_help_panel=JOB)(sources.bind)
app.command(rich_help_panel=JOB)(job.campaign)
app.command("burn-in", rich_help_panel=JOB)(job.burn_in)
app.command(rich_help_panel=JOB)(job.classify)
app.command(rich_help_panel=JOB)(job.witness)
app.command(rich_help_panel=JOB)(evidence.evidence)
app.add_typer(film.film, name="film", rich_help_panel=JOB)
app.command(rich_help_panel=JOB)(job.attempts)
app.command(rich_help_panel=JOB)(job.claims)
app.command("next", rich_help_panel=JOB)(job.next_steps)
app.command(rich_help_panel=JOB)(job.why)
app.command(rich_help_panel=JOB)(stand.recover)
app.command(rich_help_panel=JOB)(people.owner)
app.add_typer(customer.customer, name="customer", rich_help_panel=JOB)
app.command(rich_help_panel=PROOF)(proof.dossier)
app.add_typer(keys.keys, name="keys", rich_help_panel=PROOF)
app.command(rich_help_panel=PROOF)(proof.verify)
app.command(rich_help_panel=PROOF)(proof.schema)


app.command(rich_help_panel=KEEP)(safekeeping.doctor)
app.command(rich_help_panel=KEEP)(safekeeping.anchor)
app.command(rich_help_panel=KEEP)(safekeeping.backup)
app.command(rich_help_panel=KEEP)(safekeeping.restore)
app.command(rich_help_panel=KEEP)(safekeeping.export)
app.command(rich_help_panel=KEEP)(safekeeping.rebuild)


@app.command(rich_help_panel=PROOF)
def version() -> None:
    """Print the version that judgements, traces and packages carry."""
    typer.echo(SOFTWARE)


def main() -> None:
    """Run a command; what goes wrong on purpose ends as one paragraph and an exit status."""
    try:
        app()
    except SpinproofError as error:
        say_error(error)
        sys.exit(error.exit_status)


def say_error(error: SpinproofError) -> None:
    """Print an error as one paragraph: what, where, how to mend it, and its code."""
    typer.echo(f"spinproof: {error} [{error.code}]", err=True)
