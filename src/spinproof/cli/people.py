"""``spinproof owner``: the owner's password, set where the records lie."""

from typing import Annotated

import typer

from spinproof.cli.job import HomeFolder, opened
from spinproof.cli.show import say


def owner(
    name: Annotated[str, typer.Argument(help="Name or role code of the owner.")], home: HomeFolder
) -> None:
    """Set the owner's password, at the first start or when it is lost; it is typed, never shown."""
    from spinproof.app.clock import utc_now
    from spinproof.app.people import FrontDesk

    with opened(home) as (_, ledger):
        password = typer.prompt("password", hide_input=True, confirmation_prompt=True)
        person = FrontDesk(ledger).reset_owner(name, password, utc_now())
    say(f"{person.name}, owner, signs in with this password from now on")
