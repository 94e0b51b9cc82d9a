"""Restore: a shop put back from a backup, into an empty folder, and checked."""

import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from spinproof.app.backup_folder import (
    LEDGER_FILE,
    PLACES_FILE,
    STATES,
    State,
    path_of,
    read_state,
    refuse_damaged,
    require_whole,
)
from spinproof.app.clock import rfc3339, utc_now
from spinproof.app.home import Home, open_home
from spinproof.app.intake import open_shop_ledger
from spinproof.files.durable import storage_errors, sync_folder
from spinproof.files.kept import copy_and_hash
from spinproof.ledger.backup import head_of_copy, put_back
from spinproof.ledger.entries import AuditCheck
from spinproof.ledger.heads import Anchor
from spinproof.model.errors import BusyError


@dataclass(frozen=True)
class Restored:
    """A shop that was put back."""

    home: Home
    state: State
    check: AuditCheck
    """The check of the ledger against the backup's head and those given."""
    remarks: tuple[str, ...]


def restore(
    folder: Path,
    root: Path,
    *,
    by: str,
    why: str,
    name: str | None = None,
    outside: Iterable[Anchor] = (),
) -> Restored:
    """Put a shop back from a backup, into an empty folder.

    Every sum is checked before anything is put back. The ledger notes that this state was put
    back; a later head that somebody holds then shows as a fork, and not as a forgery.

    Parameters
    ----------
    folder : Path
        The backup folder.
    root : Path
        The new home folder; missing or empty.
    by : str
        Who restores.
    why : str
        The reason.
    name : str, optional
        Name of the state; the newest when left out.
    outside : iterable of Anchor
        Heads that came back from outside, to compare with.

    Returns
    -------
    Restored
        The shop, and what the check of its ledger says.
    """
    state = read_state(folder, name)
    target = root.absolute()
    require_empty(target)
    require_whole(folder, state)
    part = target.with_name(f".{target.name}.restoring")
    shutil.rmtree(part, ignore_errors=True)
    try:
        _place_files(folder, state, part)
        check = _note(open_home(part), state, by, why, outside)
        with storage_errors(target):
            part.replace(target)
            sync_folder(target.parent)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    home = open_home(target)
    remark = (
        f"keys are not part of a backup: put {home.vault_key.name}, "
        f"{home.release_secret.name} and what belongs into "
        f"{home.keys} back from the safe; the sealed store stays shut until then"
    )
    return Restored(home, state, check, (*check.findings, *check.forks, remark))


def require_empty(folder: Path) -> None:
    """Refuse a folder that holds something; make the folder above it.

    Parameters
    ----------
    folder : Path
        The folder, which may be missing.

    Raises
    ------
    BusyError
        If something is in it.
    """
    with storage_errors(folder):
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise BusyError(
                "the folder is not empty",
                where=str(folder),
                mend="Name an empty one; compare before you replace anything.",
            )
        folder.parent.mkdir(parents=True, exist_ok=True)


def _place_files(folder: Path, state: State, part: Path) -> None:
    home = open_home(part)
    for place, sha256 in _places(folder, state, home).items():
        target = home.root / place
        with storage_errors(target):
            target.parent.mkdir(parents=True, exist_ok=True)
            copy_and_hash(folder / path_of(sha256), target)
    copy = folder / STATES / state.name / LEDGER_FILE
    if head_of_copy(copy) != state.filed.signed.head:
        refuse_damaged(copy, "its audit trail is not the one that its head names")
    put_back(copy, home.ledger_url, rfc3339(utc_now()))


def _places(folder: Path, state: State, home: Home) -> dict[str, str]:
    file = folder / STATES / state.name / PLACES_FILE
    try:
        places = TypeAdapter(dict[str, str]).validate_json(file.read_bytes())
    except ValidationError:
        refuse_damaged(file, "it is no list of files")
    for place, sha256 in places.items():
        inside = (home.root / place).resolve().is_relative_to(home.root.resolve())
        if not inside or path_of(sha256) not in state.sums:
            refuse_damaged(file, f"{place!r} is no file of this backup")
    return places


def _note(home: Home, state: State, by: str, why: str, outside: Iterable[Anchor]) -> AuditCheck:
    ledger = open_shop_ledger(home)
    try:
        with ledger.transaction(by, utc_now()) as records:
            records.note_restoration(state.filed.signed.head, state.filed.at, why)
        with ledger.reading() as reading:
            own = Anchor(state.filed.signed, f"the head of the backup of {state.filed.at}")
            return reading.verify_audit([own, *outside])
    finally:
        ledger.close()
