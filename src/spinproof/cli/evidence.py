"""``spinproof evidence``: a file of any size held as evidence, streamed."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from spinproof.cli.job import By, Head, HomeFolder, opened
from spinproof.cli.show import console, say
from spinproof.model.check import EvidenceKind
from spinproof.model.errors import DocumentError, SpinproofError

if TYPE_CHECKING:
    from collections.abc import Iterator

PIECE = 1 << 20


def evidence(
    head: Head,
    made_at: Annotated[str, typer.Argument(help='Check or checkpoint, "D-20" or "wet test".')],
    file: Annotated[Path, typer.Argument(help="The file: a film may have 20 GB.")],
    what: Annotated[str, typer.Option(help="What it shows, in words.")],
    home: HomeFolder,
    by: By,
    shows: Annotated[EvidenceKind, typer.Option(help="What it is.")] = EvidenceKind.FILM,
) -> None:
    """Hold a file as evidence of a head; what the pages are too small for comes in here."""
    from spinproof.app.floor_deeds import Floor, Sent

    with opened(home) as (folders, ledger), console.status("reading") as status:
        try:
            with file.open("rb") as stream:

                def pieces() -> "Iterator[bytes]":
                    while piece := stream.read(PIECE):
                        status.update(f"{stream.tell() / 1e6:.0f} MB read")
                        yield piece

                sent = Sent(file.name, pieces(), shows, what)
                Floor(folders, ledger).attach(head, made_at, sent, by)
        except OSError as error:
            if isinstance(error, SpinproofError):
                raise
            raise DocumentError(
                f"the file cannot be read ({error.strerror})",
                where=str(file),
                mend="Check the name and that this user may read it.",
            ) from error
    say(f"{file.name} is held as evidence of {head}, at {made_at}")
