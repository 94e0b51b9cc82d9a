"""The command line: ``spinproof COMMAND``."""

import sys

import typer

from spinproof.model.errors import SpinproofError

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Qualify refurbished spin rinse dryers: plan, record, judge, prove, hand over.",
)


def main() -> None:
    """Run a command; what goes wrong on purpose ends as one paragraph and an exit status."""
    try:
        app()
    except SpinproofError as error:
        say_error(error)
        sys.exit(error.exit_status)


def say_error(error: SpinproofError) -> None:
    """Print an error as one paragraph: what, where, how to mend it, and its code."""
    typer.echo(f"spinproof: {error.what}, at {error.where}. {error.mend} [{error.code}]", err=True)
