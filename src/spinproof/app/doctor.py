"""A shop examined: its audit trail, tables, files, keys, disk and backups."""

import shutil
import stat
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path

from spinproof.app.clock import utc_now
from spinproof.app.home import Home
from spinproof.app.recovery import hold_head
from spinproof.app.trace_files import trace_files
from spinproof.evidence.store import RESERVE
from spinproof.files.digest import sha256_of_file
from spinproof.ledger.entries import AuditCheck, RunEntry, RunState
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.heads import Anchor, AnchorEntry, Way
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import BusyError, RecordError, StorageError
from spinproof.record.journal import SUFFIX

MOST = 40
"""Findings of one kind that are told one by one."""
BACKUP_EVERY = timedelta(days=1)
PUBLIC = ("-cert.pem", "-public.pem", "KEYS.json")
_LOOK = "Do not mend it by hand: keep the ledger as it is, and compare it with a backup."
_FILE = "Put it back from a backup; do not use what stands there."


class Weight(StrEnum):
    """How much a finding weighs."""

    WRONG = "wrong"
    """Something was changed, lost or left open to others."""
    RISK = "risk"
    """Something could go wrong, or needs a reason."""
    NOTE = "note"
    """What the examination cannot show, or what it saw."""


@dataclass(frozen=True)
class Finding:
    """One thing that was found, in words."""

    weight: Weight
    what: str
    """A clause without a full stop."""
    mend: str = ""

    def __str__(self) -> str:
        sentence = f"{self.what[:1].upper()}{self.what[1:]}"
        return f"{sentence.rstrip('.')}. {self.mend}".strip()


def examine(
    home: Home,
    ledger: Ledger,
    outside: Iterable[Anchor] = (),
    *,
    on_file: Callable[[int], None] = lambda _: None,
) -> tuple[Finding, ...]:
    """Examine a shop; nothing is changed.

    Parameters
    ----------
    home : Home
        The shop's folders.
    ledger : Ledger
        The records.
    outside : iterable of Anchor
        Heads of the audit trail that came back from outside.
    on_file : callable
        Told the number of files that were read.

    Returns
    -------
    tuple of Finding
        What was found, the heaviest first; notes stand at the end.
    """
    findings = [*_of_recorded(home, ledger, outside, on_file), *_of_keys(home), *_of_disk(home)]
    return tuple(sorted(findings, key=lambda finding: list(Weight).index(finding.weight)))


def _of_recorded(
    home: Home, ledger: Ledger, outside: Iterable[Anchor], on_file: Callable[[int], None]
) -> list[Finding]:
    try:
        faults = ledger.faults()
        with ledger.reading() as reading:
            check = reading.verify_audit(outside)
            named, unread = _what_records_name(home, reading)
    except StorageError as error:  # the ledger cannot be read: all that can be said of it
        return [Finding(Weight.WRONG, f"{error.what}, at {error.where}", error.mend)]
    examined = (
        f"examined were {check.entries} rows of the audit trail with the root {check.root}, the "
        f"tables that they tell of, and {len(named.files)} files"
    )
    return [
        *_of_trail(check),
        *unread,
        *(Finding(Weight.WRONG, fault, _LOOK) for fault in faults),
        *_few(_of_files(named.files, on_file), "files that are missing or were changed"),
        *([] if unread else _few(_strays(home, named.files), "files that no record names")),
        *_of_recordings(home, named.runs),
        *_of_backups(named.anchors, utc_now()),
        Finding(Weight.NOTE, examined),
    ]


@dataclass(frozen=True)
class _Named:
    """What the records name."""

    files: dict[Path, tuple[str, str]]
    runs: tuple[RunEntry, ...] = ()
    anchors: tuple[AnchorEntry, ...] = ()


def _what_records_name(home: Home, reading: HeadReading) -> tuple[_Named, list[Finding]]:
    """Give what the records name, and say so when they cannot be read as what they are."""
    try:
        return _Named(_files_named(home, reading), reading.runs(), reading.anchors()), []
    except (ValueError, TypeError, LookupError, RecordError) as error:
        what = f"the records cannot be read any more ({error}), so no file was examined"
        return _Named({}), [Finding(Weight.WRONG, what, _LOOK)]


def _few(findings: Iterable[Finding], kind: str) -> Iterator[Finding]:
    """Tell the first of many alike, and how many more there are."""
    more: list[Finding] = []
    for count, finding in enumerate(findings):
        if count < MOST:
            yield finding
        else:
            more.append(finding)
    if more:
        yield Finding(more[0].weight, f"{len(more)} more {kind}", more[0].mend)


def _of_trail(check: AuditCheck) -> Iterator[Finding]:
    found = (Finding(Weight.WRONG, what, _LOOK) for what in check.findings)
    yield from _few(found, "contradictions like these")
    for what in check.forks:
        yield Finding(Weight.RISK, what, "Ask who put it back whether the reason still holds.")
    for what in check.unproved:
        yield Finding(Weight.NOTE, what)


def _files_named(home: Home, reading: HeadReading) -> dict[Path, tuple[str, str]]:
    """Give the SHA-256 of each file that the ledger names, and what it is, by its place."""
    files = {
        path: (sha256, f"the trace of run {run.name}")
        for run in reading.runs()
        if run.trace_sha256
        for path, sha256 in trace_files(home, run.trace_sha256).items()
    }
    for job in reading.jobs():
        for item in reading.evidence(job.name):
            files[home.evidence / item.sha256] = (item.sha256, f'the evidence "{item.name}"')
    return files


def _of_files(
    files: dict[Path, tuple[str, str]], on_file: Callable[[int], None]
) -> Iterator[Finding]:
    for count, (path, (sha256, what)) in enumerate(files.items(), 1):
        if not path.is_file():
            yield Finding(Weight.WRONG, f"{what} is missing, at {path}", _FILE)
        elif sha256_of_file(path) != sha256:
            yield Finding(Weight.WRONG, f"{what} was changed, at {path}", _FILE)
        on_file(count)


def _strays(home: Home, files: dict[Path, tuple[str, str]]) -> Iterator[Finding]:
    for folder in (home.traces, home.evidence):
        for path in sorted(folder.glob("*")):
            if path.is_file() and path not in files and not path.name.startswith("."):
                yield Finding(
                    Weight.RISK,
                    f"no record names the file {path}",
                    "It was put there by hand, or its record was lost; look at it.",
                )


def _of_recordings(home: Home, runs: Iterable[RunEntry]) -> Iterator[Finding]:
    open_runs = {run.name: run for run in runs if run.state is RunState.RUNNING}
    for journal in sorted(home.journals.glob(f"*{SUFFIX}")):
        run = open_runs.pop(journal.stem, None)
        if run is None or not _is_recorded(home, run.head):
            yield Finding(
                Weight.RISK,
                f"the recording {journal.name} was left behind by a recorder that died",
                "It is sealed when the next recording or the pages start.",
            )
    for run in open_runs.values():
        if not _is_recorded(home, run.head):
            yield Finding(
                Weight.RISK,
                f"run {run.name} is open, and nobody records it",
                "It is ended as aborted when the next recording or the pages start.",
            )


def _is_recorded(home: Home, head: str) -> bool:
    try:
        with hold_head(home, head):
            return False
    except BusyError:
        return True


def _of_keys(home: Home) -> Iterator[Finding]:
    for path in (*sorted(home.keys.rglob("*")), home.vault_key, home.release_secret):
        mode = stat.S_IMODE(path.stat().st_mode) if path.is_file() else 0
        if mode & 0o077 and not path.name.endswith(PUBLIC):
            yield Finding(
                Weight.WRONG,
                f"the key {path} can be read by others on this machine (mode {mode:04o})",
                f"Run: chmod 600 {path}. If others may have read it, make a new one.",
            )


def _of_disk(home: Home) -> Iterator[Finding]:
    free = shutil.disk_usage(home.root).free
    if free < RESERVE:
        yield Finding(
            Weight.RISK,
            f"only {free / 1e9:.1f} GB are free on the disk of the shop, and recordings need "
            f"{RESERVE / 1e9:.0f} GB in reserve",
            "Free space, or move the shop to a larger disk.",
        )


def _of_backups(anchors: Iterable[AnchorEntry], now: datetime) -> Iterator[Finding]:
    made = [anchor.at for anchor in anchors if anchor.way is Way.BACKUP]
    if not made:
        yield Finding(Weight.RISK, "no backup was ever made", "Make one, on another disk.")
    elif now - datetime.fromisoformat(made[-1]) > BACKUP_EVERY:
        yield Finding(
            Weight.RISK,
            f"the last backup is of {made[-1]}",
            "Connect the disk for backups, and make one each day.",
        )
