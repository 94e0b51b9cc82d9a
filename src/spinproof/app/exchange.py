"""The whole shop as open text and files, and a shop built from them again.

An export is for another house, another database or another century: canonical JSON, one line a
row of the audit trail, the documents and the files by their SHA-256. It holds no key, no secret of
a person and nothing of the sealed store.

::

    trail.jsonl       every row of the audit trail; withheld rows as their leaf alone
    documents/        recipes, limits, plans, judgements: canonical JSON by SHA-256
    files/ab/ab12...  traces and evidence that the rows name
    head.json         the signed head of the trail
    SHA256SUMS        sums of all of it
"""

import json
import shutil
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

from spinproof.app.anchoring import station_key
from spinproof.app.backup_folder import path_of
from spinproof.app.clock import rfc3339, utc_now
from spinproof.app.home import Home, open_home
from spinproof.app.restoring import require_empty
from spinproof.app.trace_files import trace_files
from spinproof.dossier.sums import LIST_FILE, SumList, read_list, write_list
from spinproof.files.digest import sha256_of_file
from spinproof.files.durable import storage_errors, sync_folder, write_durably
from spinproof.files.kept import KeptFiles, copy_and_hash
from spinproof.ledger.entries import AuditCheck
from spinproof.ledger.filed_head import FiledHead, read_filed_head
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.heads import Anchor, sign_head
from spinproof.ledger.importing import Line, build_ledger, read_line
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import StorageError
from spinproof.model.software import SOFTWARE

TRAIL_FILE = "trail.jsonl"
HEAD_FILE = "head.json"
DOCUMENTS = "documents"
FILES = "files"
_MEND = "Take the export again from the ledger that it came from, and copy it whole."


@dataclass(frozen=True)
class Export:
    """An export that was written."""

    path: Path
    head: FiledHead
    withheld: int
    """Rows that ship as their leaf alone."""
    files: int
    remarks: tuple[str, ...]
    """What the shop should know, in sentences."""


@dataclass(frozen=True)
class Imported:
    """A shop that was built from an export."""

    home: Home
    check: AuditCheck
    remarks: tuple[str, ...]


def export_shop(
    home: Home,
    ledger: Ledger,
    folder: Path,
    *,
    job: str | None = None,
    salts_of_withheld: bool = False,
) -> Export:
    """Write a shop, or what concerns one of its jobs, as open text and files.

    Parameters
    ----------
    home : Home
        The shop's folders.
    ledger : Ledger
        The records.
    folder : Path
        The new folder; missing or empty.
    job : str, optional
        The only job whose rows are told; rows of others ship as their leaf, so that the root of
        the trail can still be computed. Such an export is good for checking, not for importing.
    salts_of_withheld : bool
        Whether the salts of withheld rows ship too, with which a guess at a row can be confirmed.

    Returns
    -------
    Export
        What was written.
    """
    target = folder.absolute()
    require_empty(target)
    part = target.with_name(f".{target.name}.exporting")
    shutil.rmtree(part, ignore_errors=True)
    try:
        with storage_errors(part):
            (part / DOCUMENTS).mkdir(parents=True)
        with ledger.reading() as reading:
            withheld = reading.rows_of_other_jobs(reading.job(job).name) if job else frozenset()
            filed = FiledHead(
                sign_head(reading.tree_head(), station_key(home)), rfc3339(utc_now()), SOFTWARE
            )
            lines = reading.export_lines(withheld, salts_of_withheld=salts_of_withheld)
            _write_lines(part / TRAIL_FILE, lines)
            for sha256, text in reading.export_texts(withheld):
                write_durably(part / DOCUMENTS / f"{sha256}.json", text.encode())
            named = _files_named(home, reading, withheld)
        write_durably(part / HEAD_FILE, filed.to_bytes())
        kept, remarks = _keep_files(part, named)
        write_durably(part / LIST_FILE, write_list(_sums_of(part)))
        with storage_errors(target):
            part.replace(target)
            sync_folder(target.parent)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return Export(target, filed, len(withheld), kept, tuple(remarks))


def _write_lines(path: Path, lines: Iterator[bytes]) -> None:
    with storage_errors(path), path.open("wb") as file:
        file.writelines(lines)


def _files_named(
    home: Home, reading: HeadReading, withheld: Collection[int]
) -> dict[str, tuple[Path, str]]:
    """Give where each file lies that the rows name, and what it is, by its SHA-256."""
    named: dict[str, tuple[Path, str]] = {}
    for row in reading.audit():
        if row.seq in withheld:
            continue
        since = json.loads(row.after)
        if row.act == "run.finish" and since["trace_sha256"]:
            for path, sha256 in trace_files(home, since["trace_sha256"]).items():
                named[sha256] = (path, row.object)
        if row.act == "evidence.add":
            named[since["sha256"]] = (home.evidence / since["sha256"], f'"{since["name"]}"')
    return named


def _keep_files(part: Path, named: dict[str, tuple[Path, str]]) -> tuple[int, list[str]]:
    kept, remarks = KeptFiles(part / FILES), []
    count = 0
    for sha256, (path, what) in named.items():
        if not path.is_file():
            remarks.append(f"the file of {what} is missing from the shop's folder ({sha256})")
        elif kept.keep(path) != sha256:
            remarks.append(f"the file of {what} is not what its name says: it was changed")
        else:
            count += 1
    return count, remarks


def _sums_of(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): sha256_of_file(path)
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def import_shop(folder: Path, root: Path, *, url: str | None = None) -> Imported:
    """Build a shop from a full export, into an empty folder and an empty database.

    Parameters
    ----------
    folder : Path
        The export.
    root : Path
        The new home folder; missing or empty.
    url : str, optional
        Address of an empty database for the ledger; a file in the folder when left out.

    Returns
    -------
    Imported
        The shop; its audit trail has the root that the export was signed with.

    Notes
    -----
    RecordError says when rows are withheld, StorageError when a file was changed, removed or
    added; nothing is left then.
    """
    target = root.absolute()
    require_empty(target)
    listed = _checked(folder)
    head_file = folder / HEAD_FILE
    filed = read_filed_head(head_file.read_bytes(), str(head_file))
    part = target.with_name(f".{target.name}.importing")
    shutil.rmtree(part, ignore_errors=True)
    try:
        home = open_home(part)
        missing = tuple(_place_files(folder, home, listed))
        check = build_ledger(
            url or home.ledger_url,
            rfc3339(utc_now()),
            _lines(folder / TRAIL_FILE),
            folder / DOCUMENTS,
            Anchor(filed.signed, f"the head of the export of {filed.at}"),
        )
        with storage_errors(target):
            part.replace(target)
            sync_folder(target.parent)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    remark = (
        "an export carries no passwords, PINs, keys or sealed store: the owner sets a new "
        "password on this machine first"
    )
    return Imported(open_home(target), check, (*missing, remark))


def _checked(folder: Path) -> SumList:
    path = folder / LIST_FILE
    with storage_errors(path):
        listed = read_list(path.read_bytes())
        found = _sums_of(folder)
    found.pop(LIST_FILE, None)
    faults = [
        *listed.faults,
        *(f"{name} is missing" for name in listed.sums if name not in found),
        *(f"{name} is not in the list" for name in found if name not in listed.sums),
        *(
            f"{name} was changed"
            for name, sha256 in found.items()
            if listed.sums.get(name, sha256) != sha256
        ),
    ]
    needed = {TRAIL_FILE, HEAD_FILE} - set(listed.sums)
    faults += [f"{name} is missing" for name in sorted(needed)]
    if faults:
        raise StorageError(
            f"the export is damaged: {'; '.join(faults[:5])}", where=str(folder), mend=_MEND
        )
    return listed


def _lines(path: Path) -> Iterator[Line]:
    with storage_errors(path), path.open("rb") as file:
        for number, line in enumerate(file, 1):
            yield read_line(line, number)


def _place_files(folder: Path, home: Home, listed: SumList) -> Iterator[str]:
    """Put the files that the rows name where the shop looks for them."""
    for line in _lines(folder / TRAIL_FILE):
        if line.row is None or line.row.act not in {"run.finish", "evidence.add"}:
            continue
        since = json.loads(line.row.after)
        trace = since.get("trace_sha256")
        sha256 = trace if line.row.act == "run.finish" else since["sha256"]
        if sha256 is None:
            continue
        if listed.sums.get(path_of(sha256)) != sha256:
            yield f"the file of {line.row.object} is not part of the export ({sha256})"
            continue
        target = home.trace(sha256) if trace else home.evidence / sha256
        _place(folder, sha256, target)
        for place, part in trace_files(home, sha256).items() if trace else ():
            if place == target:
                continue
            if listed.sums.get(path_of(part)) == part:
                _place(folder, part, place)
            else:
                yield f"a file beside {line.row.object} is not part of the export ({part})"


def _place(folder: Path, sha256: str, target: Path) -> None:
    if not target.exists():
        with storage_errors(target):
            copy_and_hash(folder / path_of(sha256), target)
