"""Backup: everything a shop would need again, saved while it is in use."""

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from spinproof.app.anchoring import station_key
from spinproof.app.backup_folder import (
    FILES,
    HEAD_FILE,
    LEDGER_FILE,
    PLACES_FILE,
    STATES,
    SUMS_SUFFIX,
    State,
    path_of,
    read_state,
    state_names,
)
from spinproof.app.clock import rfc3339, utc_now
from spinproof.app.home import Home
from spinproof.app.trace_files import trace_files
from spinproof.dossier.sums import write_list
from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_file
from spinproof.files.durable import storage_errors, write_durably
from spinproof.files.kept import KeptFiles
from spinproof.files.lock import hold
from spinproof.ledger.backup import head_of_copy
from spinproof.ledger.filed_head import FiledHead
from spinproof.ledger.heads import Way, sign_head
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import RecordError, StorageError
from spinproof.model.software import SOFTWARE
from spinproof.record.journal import SUFFIX

LEFT_OUT = ("journals", "keys", "vault.key", "release.secret")
"""Recordings that are not sealed yet, and keys: those belong in a safe, not beside the data."""
_SHA256 = re.compile("[0-9a-f]{64}")


@dataclass(frozen=True)
class Backup:
    """A backup that was made."""

    state: State
    files: int
    """Files of the shop that it holds."""
    copied: int
    """Those that were not in the folder yet."""
    remarks: tuple[str, ...]
    """What the shop should know, in sentences."""


def back_up(
    home: Home,
    ledger: Ledger,
    folder: Path,
    *,
    by: str,
    on_file: Callable[[int], None] = lambda _: None,
) -> Backup:
    """Add the present state of a shop to a backup folder, while the shop is in use.

    Parameters
    ----------
    home : Home
        The shop's folders.
    ledger : Ledger
        The records.
    folder : Path
        The backup folder, best on another disk; it is made when missing.
    by : str
        Who makes the backup; the ledger notes it, with the head that went along.
    on_file : callable
        Told the number of files that are done.

    Returns
    -------
    Backup
        What was made.

    Raises
    ------
    StorageError
        If the folder lies inside the shop's own, or its disk is full. No state is added then.
    """
    target = folder.absolute()
    if target.resolve().is_relative_to(home.root.resolve()):
        raise StorageError(
            "a backup inside the folder that it saves would go with it",
            where=str(folder),
            mend="Name a folder on another disk.",
        )
    with storage_errors(target):
        target.mkdir(parents=True, exist_ok=True, mode=0o700)
    with hold(target / ".lock", f"backup folder {target}"):
        _clear(target)
        backup = _add_state(home, ledger, target, on_file)
    with ledger.transaction(by, utc_now()) as records:
        records.note_anchor(backup.state.filed.signed, Way.BACKUP, str(target))
    return backup


def _clear(target: Path) -> None:
    """Remove what an interrupted backup left behind."""
    complete = state_names(target)
    with storage_errors(target):
        for state in (target / STATES).glob("*"):
            if state.is_dir() and state.name not in complete:
                shutil.rmtree(state)
        for part in (target / FILES).glob("*.part"):
            part.unlink()


def _add_state(home: Home, ledger: Ledger, target: Path, on_file: Callable[[int], None]) -> Backup:
    now = utc_now()
    name = rfc3339(now).translate(str.maketrans("", "", "-:."))
    state = target / STATES / name
    with storage_errors(state):
        state.mkdir(parents=True, mode=0o700)
    try:
        _save_ledger(home, ledger, state, now)
        named = _named_files(home, ledger)
        kept = KeptFiles(target / FILES)
        before = {path for path in kept.folder.glob("*/*") if path.is_file()}
        places, changed = _keep_files(home, kept, on_file)
        write_durably(state / PLACES_FILE, canonical_json(places))
        sums = {
            f"{STATES}/{name}/{file}": sha256_of_file(state / file)
            for file in (LEDGER_FILE, HEAD_FILE, PLACES_FILE)
        }
        sums |= {path_of(sha256): sha256 for sha256 in places.values()}
        write_durably(target / STATES / f"{name}{SUMS_SUFFIX}", write_list(sums))
    except BaseException:
        shutil.rmtree(state, ignore_errors=True)
        raise
    copied = len({kept.place(sha256) for sha256 in places.values()} - before)
    remarks = (*changed, *_missing(named, places), *_remarks(home, target))
    return Backup(read_state(target, name), len(places), copied, remarks)


def _save_ledger(home: Home, ledger: Ledger, state: Path, now: datetime) -> None:
    ledger.save_copy(state / LEDGER_FILE, now)
    (state / LEDGER_FILE).chmod(0o600)
    head = head_of_copy(state / LEDGER_FILE)
    if head is None:
        raise RecordError(
            "nothing was recorded yet, so there is nothing to back up",
            where=str(home.root),
            mend="Take a job in first.",
        )
    filed = FiledHead(sign_head(head, station_key(home)), rfc3339(now), SOFTWARE)
    write_durably(state / HEAD_FILE, filed.to_bytes())


def _keep_files(
    home: Home, kept: KeptFiles, on_file: Callable[[int], None]
) -> tuple[dict[str, str], list[str]]:
    places: dict[str, str] = {}
    changed = []
    for path in _files_of(home):
        named = path.stem if _SHA256.fullmatch(path.stem) else ""
        known = kept.holds(named, path.stat().st_size)  # it never changes: read when it was kept
        sha256 = named if known else kept.keep(path)
        place = path.relative_to(home.root).as_posix()
        if named and sha256 != named:
            changed.append(f"{place} is not what its name says: it was changed or is damaged")
        places[place] = sha256
        on_file(len(places))
    return places, changed


def _files_of(home: Home) -> Iterator[Path]:
    """Give every file of the shop but the ledger, open recordings, keys and leftovers."""
    for path in sorted(home.root.rglob("*")):
        first, *deeper = path.relative_to(home.root).parts
        passing = path.suffix in {".part", ".upload"} or path.name.startswith(".")
        beside_the_ledger = not deeper and first.startswith("ledger")
        if first in LEFT_OUT or passing or beside_the_ledger or path.is_symlink():
            continue
        if path.is_file():
            yield path


def _named_files(home: Home, ledger: Ledger) -> dict[str, str]:
    """Give what each file is that the ledger names, by its place."""
    with ledger.reading() as reading:
        runs, jobs = reading.runs(), reading.jobs()
        evidence = [item for job in jobs for item in reading.evidence(job.name)]
    files = {
        path: f"run {run.name}"
        for run in runs
        if run.trace_sha256
        for path in trace_files(home, run.trace_sha256)
    }
    files |= {home.evidence / item.sha256: f'evidence "{item.name}"' for item in evidence}
    return {path.relative_to(home.root).as_posix(): what for path, what in files.items()}


def _missing(named: dict[str, str], places: dict[str, str]) -> Iterator[str]:
    for place, what in named.items():
        if place not in places:
            yield f"the file of {what} is missing from the shop's folder ({place})"


def _remarks(home: Home, target: Path) -> Iterator[str]:
    if home.root.stat().st_dev == target.stat().st_dev:
        yield "the backup lies on the same disk as the shop: one broken disk would take both"
    if open_journals := sorted(home.journals.glob(f"*{SUFFIX}")):
        yield (
            f"{len(open_journals)} recordings are not sealed yet and not in the backup: make "
            "another when they are"
        )
    yield (
        f"the keys in {home.keys} and {home.vault_key.name} are not in the backup: keep a copy of "
        "them in a safe, for without it the sealed store stays shut"
    )
