"""ZIP archives, judged by their list of contents before anything is unpacked."""

import stat
import unicodedata
import zipfile
from collections.abc import Iterator
from pathlib import PurePosixPath, PureWindowsPath
from typing import BinaryIO

ENTRY_LIMIT = 10_000
UNPACKED_LIMIT = 2_000_000_000
RATIO_LIMIT = 100
SMALL = 1_000_000
"""Below this many unpacked bytes the ratio says nothing: a page of blanks packs well."""


def refusal_of(file: BinaryIO, *, unpacked_limit: int = UNPACKED_LIMIT) -> str | None:
    """Say why an archive must not be unpacked, or None when it may.

    Parameters
    ----------
    file : binary file
        The archive, open for reading and seeking.
    unpacked_limit : int
        Bytes that all entries together may need.

    Returns
    -------
    str or None
        A clause that names the entry and what is wrong with it.

    Notes
    -----
    The list states sizes that a hostile archive can lie about; whoever unpacks an entry stops
    at the size that the list states, as Python's ``zipfile`` does.
    """
    try:
        with zipfile.ZipFile(file) as archive:
            entries = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError, EOFError, OSError) as error:
        return f"its list of contents cannot be read ({str(error).lower() or 'damaged'})"
    if len(entries) > ENTRY_LIMIT:
        return f"it holds {len(entries)} entries, more than {ENTRY_LIMIT}"
    whole = sum(entry.file_size for entry in entries)
    if whole > unpacked_limit:
        return f"it would unpack to {whole} bytes, more than {unpacked_limit}"
    return next((clause for clause in _refusals(entries)), None)


def _refusals(entries: list[zipfile.ZipInfo]) -> Iterator[str]:
    seen: set[str] = set()
    for entry in entries:
        name = entry.orig_filename
        key = unicodedata.normalize("NFC", name.rstrip("/")).casefold()
        if key in seen:
            yield f"it holds {name!r} twice, or twice but for the case of letters"
        seen.add(key)
        if reason := _why_not(entry):
            yield f"its entry {name!r} {reason}"


def _why_not(entry: zipfile.ZipInfo) -> str | None:
    name = entry.orig_filename
    posix, windows = PurePosixPath(name), PureWindowsPath(name)
    ratio = entry.file_size // max(entry.compress_size, 1)
    reasons = {
        "names an absolute place": posix.is_absolute() or bool(windows.root or windows.drive),
        "points out of its folder": ".." in posix.parts or ".." in windows.parts,
        "has a control character in its name": any(letter < " " for letter in name),
        "is a link": stat.S_ISLNK(entry.external_attr >> 16),
        "is locked with a password": bool(entry.flag_bits & 0x1),
        f"would unpack to {ratio} times its size, as a zip bomb does": ratio > RATIO_LIMIT
        and entry.file_size > SMALL,
    }
    return next((reason for reason, applies in reasons.items() if applies), None)
