"""A backup folder: each file once, by its SHA-256, and one state for each backup.

A state is the whole ledger, the head of its audit trail, and which file lay where. The list of
its sums is written last; a state without one does not count.

::

    files/ab/ab12...                      traces, evidence, dossiers, the sealed store
    states/20310506T070809123Z/           ledger.db, head.json, files.json
    states/20310506T070809123Z.sha256     sums, for `sha256sum -c` in the backup folder
"""

from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from spinproof.dossier.sums import read_list
from spinproof.files.digest import sha256_of_file
from spinproof.files.durable import storage_errors
from spinproof.ledger.filed_head import FiledHead, read_filed_head
from spinproof.model.errors import RecordError, StorageError

FILES = "files"
STATES = "states"
LEDGER_FILE = "ledger.db"
HEAD_FILE = "head.json"
PLACES_FILE = "files.json"
SUMS_SUFFIX = ".sha256"


@dataclass(frozen=True)
class State:
    """One backup: the shop as it was at some moment."""

    name: str
    filed: FiledHead
    sums: dict[str, str]
    """SHA-256 by path inside the backup folder."""
    faults: tuple[str, ...]
    """What is wrong with the form of the list."""


def path_of(sha256: str) -> str:
    """Give where a file of this SHA-256 lies inside a backup folder."""
    return f"{FILES}/{sha256[:2]}/{sha256}"


def state_names(folder: Path) -> tuple[str, ...]:
    """List the names of the complete states of a backup folder, the newest last."""
    found = (folder / STATES).glob(f"*{SUMS_SUFFIX}")
    return tuple(sorted(path.name.removesuffix(SUMS_SUFFIX) for path in found))


def read_state(folder: Path, name: str | None = None) -> State:
    """Read a state of a backup folder.

    Parameters
    ----------
    folder : Path
        The backup folder.
    name : str, optional
        Name of the state; the newest when left out.

    Returns
    -------
    State
        The state; its files are not checked yet.

    Raises
    ------
    RecordError
        If there is no such state.
    """
    known = state_names(folder)
    if not known or (name is not None and name not in known):
        raise RecordError(
            "there is no such complete backup in this folder",
            where=f"{folder}, state {name or 'newest'}",
            mend=f"Known are {', '.join(known[-12:])}."
            if known
            else "Name the folder that backups were made into.",
        )
    chosen = name or known[-1]
    head_file = folder / STATES / chosen / HEAD_FILE
    sums_file = folder / STATES / f"{chosen}{SUMS_SUFFIX}"
    with storage_errors(sums_file):
        listed = read_list(sums_file.read_bytes())
    with storage_errors(head_file):
        filed = read_filed_head(head_file.read_bytes(), str(head_file))
    return State(chosen, filed, dict(listed.sums), listed.faults)


def require_whole(folder: Path, state: State) -> None:
    """Check every file of a state by its sum.

    Parameters
    ----------
    folder : Path
        The backup folder.
    state : State
        The state.

    Notes
    -----
    StorageError names the first file that is missing or was changed.
    """
    for fault in state.faults:
        refuse_damaged(folder / STATES / f"{state.name}{SUMS_SUFFIX}", fault)
    for path, sha256 in state.sums.items():
        file = folder / path
        if not file.is_file():
            refuse_damaged(file, "the file is missing")
        if sha256_of_file(file) != sha256:
            refuse_damaged(file, "the file was changed since the backup")


def refuse_damaged(where: Path, what: str) -> NoReturn:
    """Say that a backup is damaged.

    Parameters
    ----------
    where : Path
        The file.
    what : str
        What is wrong with it.

    Raises
    ------
    StorageError
        Always.
    """
    raise StorageError(
        f"the backup is damaged: {what}",
        where=str(where),
        mend="Nothing was restored; take an earlier state, or another copy of the backup.",
    )
