"""``spinproof doctor``, ``backup``, ``restore``, ``export``, ``rebuild`` and ``anchor``."""

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from spinproof.cli.job import By, HomeFolder, opened
from spinproof.cli.show import console, say

MOST = 40
"""Remarks that are printed one by one."""
Folder = Annotated[Path, typer.Argument(help="Folder, best on another disk.")]


def say_remarks(remarks: Sequence[str]) -> None:
    """Print remarks; of very many alike the last few, which tell of the whole."""
    if len(remarks) > MOST:
        say(f"  - {len(remarks) - MOST} more like the first of these")
    for remark in (*remarks[: MOST // 2], *remarks[MOST // 2 :][-(MOST // 2) :]):
        say(f"  - {remark}")


def backup(folder: Folder, home: HomeFolder, by: By) -> None:
    """Add the present state of a shop to a backup folder, while the shop is in use."""
    from spinproof.app.safekeeping import back_up

    with opened(home) as (folders, ledger), console.status("saving") as status:
        made = back_up(
            folders,
            ledger,
            folder,
            by=by,
            on_file=lambda count: status.update(f"{count} files saved"),
        )
    say(f"{made.files} files are safe in {folder}, {made.copied} of them new")
    say_remarks(made.remarks)


def restore(
    folder: Annotated[Path, typer.Argument(help="Backup folder.")],
    into: Annotated[Path, typer.Argument(help="New home folder, missing or empty.")],
    why: Annotated[str, typer.Option(help="Why it is put back; the ledger notes it.")],
    by: By,
    name: Annotated[str | None, typer.Option(help="State to put back; else the newest.")] = None,
) -> None:
    """Put a shop back from a backup, into an empty folder; every sum is checked first."""
    from spinproof.app.restoring import restore as put_back

    done = put_back(folder, into, by=by, why=why, name=name)
    head = done.state.filed.signed.head
    say(f"put back into {into}, as it was on {done.state.filed.at}")
    say(f"its audit trail had {head.size} rows then, and has the same root: {head.root}")
    say_remarks(done.remarks)


def export(
    folder: Annotated[Path, typer.Argument(help="New folder, missing or empty.")],
    home: HomeFolder,
    job: Annotated[str | None, typer.Option(help="Tell the rows of this job alone.")] = None,
) -> None:
    """Write a shop, or one of its jobs, as open text and files, never the sealed store."""
    from spinproof.app.exchange import export_shop

    with opened(home) as (folders, ledger), console.status("writing"):
        made = export_shop(folders, ledger, folder, job=job)
    say(f"{made.files} files written to {made.path}")
    say_remarks(made.remarks)


def rebuild(
    folder: Annotated[Path, typer.Argument(help="Folder that `spinproof export` wrote.")],
    into: Annotated[Path, typer.Argument(help="New home folder, missing or empty.")],
) -> None:
    """Build a shop anew from an export; its audit trail gets the same root."""
    from spinproof.app.exchange import import_shop

    made = import_shop(folder, into)
    say(f"{made.check.entries} rows of the audit trail are in {into}, with the root of the export:")
    say(made.check.root)
    say_remarks(made.remarks)


def anchor(
    home: HomeFolder,
    by: By,
    to: Annotated[str, typer.Option(help="Who outside gets it, and how.")],
    code: Annotated[Path | None, typer.Option(help="Write its QR code here, as SVG.")] = None,
) -> None:
    """Print the signed head of the audit trail, for somebody outside to keep."""
    from spinproof.app.anchoring import Way, send_head

    with opened(home) as (folders, ledger):
        sent = send_head(folders, ledger, Way.LETTER, to, by=by)
    say(sent.text)
    if code is not None:
        code.write_text(sent.code, encoding="utf-8")
        say(f"code: {code}")


def doctor(home: HomeFolder) -> None:
    """Examine a shop: audit trail, files, settings; what was changed by hand is named."""
    from spinproof.app.doctor import Weight, examine

    with opened(home) as (folders, ledger), console.status("reading") as status:
        findings = examine(
            folders, ledger, on_file=lambda count: status.update(f"{count} files read")
        )
    for finding in findings:
        say(f"{finding.weight}: {finding}")
    if any(finding.weight is Weight.WRONG for finding in findings):
        raise typer.Exit(1)
    say("nothing is wrong with what is here")
