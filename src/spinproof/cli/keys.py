"""``spinproof keys``: the keys that sign packages."""

import sys
from pathlib import Path
from typing import Annotated

import typer

from spinproof.cli.job import HomeFolder, opened
from spinproof.cli.show import say

PassphraseFile = Annotated[
    Path | None,
    typer.Option(help="File with the owner's passphrase; else it is asked for when needed."),
]

keys = typer.Typer(
    no_args_is_help=True,
    help="The keys that sign packages: made by the first dossier, encrypted, renewed, ended.",
)


@keys.command()
def show(home: HomeFolder) -> None:
    """Print the fingerprints, for paper: the quotation, the invoice, the shipping sheet."""
    from spinproof.app.shop_keys import paper

    with opened(home) as (folders, _):
        for line in paper(folders):
            typer.echo(line)


@keys.command()
def renew(
    home: HomeFolder,
    why: Annotated[
        str, typer.Option(help="Why the key in use ends: replaced, lost or stolen.")
    ] = "replaced",
    passphrase_file: PassphraseFile = None,
) -> None:
    """End the release key in use, and make the next one; the root key stays."""
    from spinproof.app.shop_keys import ended_as
    from spinproof.app.shop_keys import renew as renew_key

    secret, ended = passphrase_of(home, passphrase_file), ended_as(why)
    with opened(home) as (folders, _):
        made = renew_key(folders, ended, secret)
    say(f"list number {made.known.version}; give the new KEYS.json to your customers")
    say(f"fingerprint: {made.release.fingerprint}")


@keys.command()
def protect(home: HomeFolder, passphrase_file: PassphraseFile = None) -> None:
    """Encrypt the keys with a passphrase of your own, which is kept nowhere."""
    from spinproof.app.shop_keys import protect as protect_keys

    secret = passphrase_of(home, passphrase_file)
    fresh = str(typer.prompt("new passphrase", hide_input=True, confirmation_prompt=True))
    with opened(home) as (folders, _):
        protect_keys(folders, fresh, secret)
    say("the keys open with that passphrase alone; nobody can give it back to you")


def passphrase_of(home: Path, file: Path | None) -> str | None:
    """Give the owner's passphrase: from a file, or asked for, or None when none is needed."""
    from spinproof.app.shop_keys import needs_passphrase, passphrase_in

    if file is not None:
        return passphrase_in(file)
    if needs_passphrase(home) and sys.stdin.isatty():
        return str(typer.prompt("passphrase of the signing keys", hide_input=True))
    return None
