"""``spinproof customer``: who the customer of a job is, in the sealed store alone."""

from typing import TYPE_CHECKING, Annotated

import typer

from spinproof.cli.job import By, HomeFolder, opened
from spinproof.cli.show import say
from spinproof.model.attestation import CustomerPurpose

if TYPE_CHECKING:
    from spinproof.app.customers import Customer

Job = Annotated[str, typer.Argument(help="Name of the job.")]
FIELDS = {
    "names": "names of the company, its sites and its people",
    "contacts": "e-mail and web addresses, telephone numbers",
    "addresses": "postal addresses, their parts cut by commas",
    "words": "other words that give it away: products, recipes, badge numbers",
}

customer = typer.Typer(
    no_args_is_help=True,
    help="Who the customer of a job is: kept in the sealed store, told by no export and no trail.",
)


@customer.command()
def look(
    job: Job,
    home: HomeFolder,
    by: By,
    purpose: Annotated[
        CustomerPurpose, typer.Option("--for", help="What for; it is told by the audit trail.")
    ] = CustomerPurpose.WRITE,
) -> None:
    """Show who the customer is; the audit trail tells that somebody looked, and not at whom."""
    from spinproof.app.customers import CustomerDesk

    with opened(home) as (folders, ledger):
        held = CustomerDesk(folders, ledger).look(job, purpose, by=by)
    say(f"alias: {held.alias}")
    for name in FIELDS:
        for text in getattr(held, name):
            say(f"{name}: {text}")


@customer.command()
def enter(job: Job, home: HomeFolder, by: By) -> None:
    """Enter who the customer is; it is asked for, so that no shell keeps it."""
    from spinproof.app.customers import CustomerDesk

    with opened(home) as (folders, ledger):
        CustomerDesk(folders, ledger).enter(job, _asked(), by=by)
    say(f"the customer of {job} is entered; from now on its words may not leave with a job")


@customer.command()
def change(job: Job, home: HomeFolder, by: By) -> None:
    """Change who the customer is; what you give takes the place of all that stood there."""
    from spinproof.app.customers import CustomerDesk

    with opened(home) as (folders, ledger):
        CustomerDesk(folders, ledger).change(job, _asked(), by=by)
    say(f"the customer of {job} is changed")


def _asked() -> "Customer":
    """Ask for the customer, one text a line."""
    from spinproof.app.customers import Customer

    alias = str(typer.prompt("alias, a word that the shop uses instead"))
    return Customer(alias.strip(), **{name: _lines(what) for name, what in FIELDS.items()})


def _lines(what: str) -> tuple[str, ...]:
    say(f"{what}; one a line, an empty line ends")
    return tuple(
        iter(lambda: str(typer.prompt("", "", prompt_suffix="> ", show_default=False)), "")
    )
