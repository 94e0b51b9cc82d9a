"""Evidence files, each held once under its SHA-256, taken in as a stream.

A file stands in the folder whole or not at all: it is written under a passing name, flushed,
and renamed when its type and size are known to be right. What a killed program leaves behind is
removed when the next file comes.
"""

import fcntl
import hashlib
import os
import re
import secrets
import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from spinproof.evidence.sniffing import HEAD_BYTES, Family, FileType, confirm, sniff
from spinproof.files.digest import sha256_of_bytes, sha256_of_file
from spinproof.files.durable import storage_errors, sync_folder, write_all, write_durably
from spinproof.model.errors import EvidenceError, StorageError

MB = 1_000_000
LIMITS = {
    Family.PICTURE: 25 * MB,
    Family.DOCUMENT: 100 * MB,
    Family.TABLE: 500 * MB,
    Family.ARCHIVE: 500 * MB,
    Family.FILM: 20_000 * MB,
}
"""The largest file of each family that is taken. [bytes]"""

RESERVE = 5_000 * MB
"""Room that stays free for recordings: a burn-in of 60 runs at full rate takes 2.8 GB. [bytes]"""

_CHECK_EVERY = 64 * MB
_SAFE = "nothing of this file is kept, and everything held before is untouched"
_SUFFIX = ".upload"


@dataclass(frozen=True)
class Received:
    """A file that came in whole and is what it should be, under a passing name."""

    path: Path
    sha256: str
    size: int
    type: FileType


class EvidenceStore:
    """A folder of files, each named by its SHA-256.

    Parameters
    ----------
    folder : Path
        The folder; it must exist.
    reserve : int
        Room on its disk that no evidence may take. [bytes]
    """

    def __init__(self, folder: Path, *, reserve: int = RESERVE) -> None:
        self.folder = folder
        self.reserve = reserve

    @contextmanager
    def receiving(
        self, pieces: Iterable[bytes], name: str, *, announced: int = 0
    ) -> Iterator[Received]:
        """Receive a file; it is gone again at the end unless `keep` was called.

        Parameters
        ----------
        pieces : iterable of bytes
            The file as it comes in.
        name : str
            What the sender calls it; for messages only.
        announced : int
            How large the sender says it is, or 0 when it does not say. [bytes]

        Yields
        ------
        Received
            The file, complete, of a type that is taken, within the limit of its kind.

        Notes
        -----
        EvidenceError tells of a wrong type or size, StorageError of a full disk. What the
        pieces raise, such as a broken connection, passes through. Nothing is left behind.
        """
        with storage_errors(self.folder, _SAFE):
            self._require_room(announced)
            self._clear_leftovers()
            part, descriptor = self._passing_file()
        try:
            kind, size, sha256 = self._write(descriptor, pieces, name)
            yield Received(part, sha256, size, confirm(part, kind, name))
        finally:
            part.unlink(missing_ok=True)
            os.close(descriptor)

    def keep(self, received: Received) -> bool:
        """Give a received file its place; a place that holds it already is left alone.

        Parameters
        ----------
        received : Received
            The file, inside its ``receiving`` block.

        Returns
        -------
        bool
            True when the file is new, False when it was held already.
        """
        place = self.folder / received.sha256
        with storage_errors(self.folder, _SAFE):
            if place.exists() and sha256_of_file(place) == received.sha256:
                return False
            received.path.replace(place)
            sync_folder(self.folder)
        return True

    def keep_bytes(self, data: bytes) -> tuple[str, bool]:
        """Hold some bytes of our own making, such as a cleaned picture.

        Parameters
        ----------
        data : bytes
            The whole file.

        Returns
        -------
        tuple of str and bool
            Its SHA-256, and whether it is new.
        """
        self._require_room(len(data))
        sha256 = sha256_of_bytes(data)
        place = self.folder / sha256
        if place.exists() and sha256_of_file(place) == sha256:
            return sha256, False
        write_durably(place, data)
        return sha256, True

    def verified(self, sha256: str) -> Path:
        """Give the path of a held file whose bytes still have its SHA-256.

        Parameters
        ----------
        sha256 : str
            Its SHA-256.

        Returns
        -------
        Path
            Where it lies.

        Raises
        ------
        EvidenceError
            If it is missing, or its bytes were changed.
        """
        place = self.folder / sha256
        if not re.fullmatch("[0-9a-f]{64}", sha256) or not place.is_file():
            raise EvidenceError(
                "no such evidence file is held",
                where=f"evidence {sha256[:64]!r}",
                mend="Put it back from a backup; its name is the SHA-256 of its bytes.",
            )
        if sha256_of_file(place) != sha256:
            raise EvidenceError(
                "the evidence file was changed since it was taken in",
                where=str(place),
                mend="Put it back from a backup; do not use what stands there.",
            )
        return place

    def _write(
        self, descriptor: int, pieces: Iterable[bytes], name: str
    ) -> tuple[FileType, int, str]:
        stream = iter(pieces)
        head = bytearray()
        while len(head) < HEAD_BYTES and (piece := next(stream, None)) is not None:
            head += piece
        kind, digest, size, checked = sniff(bytes(head[:HEAD_BYTES]), name), hashlib.sha256(), 0, 0
        piece = bytes(head)
        while piece is not None:
            size += len(piece)
            _require_size(size, kind, name)
            if size - checked >= _CHECK_EVERY:
                self._require_room(len(piece))
                checked = size
            digest.update(piece)
            with storage_errors(self.folder, _SAFE):
                write_all(descriptor, piece)
            piece = next(stream, None)
        with storage_errors(self.folder, _SAFE):
            os.fsync(descriptor)
        return kind, size, digest.hexdigest()

    def _passing_file(self) -> tuple[Path, int]:
        """Make a locked file; one that was taken for a leftover before its lock is made anew."""
        while True:
            part = self.folder / f".{secrets.token_hex(8)}{_SUFFIX}"
            descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o444)
            fcntl.flock(descriptor, fcntl.LOCK_EX)
            if os.fstat(descriptor).st_nlink:
                return part, descriptor
            os.close(descriptor)

    def _require_room(self, size: int) -> None:
        with storage_errors(self.folder, _SAFE):
            free = shutil.disk_usage(self.folder).free
        if free - size < self.reserve:
            raise StorageError(
                f"the disk has {free / MB:.0f} MB free, and {self.reserve / MB:.0f} MB of it stay"
                f" free for recordings; {_SAFE}",
                where=str(self.folder),
                mend="Free space on that disk, then send the file again.",
            )

    def _clear_leftovers(self) -> None:
        """Remove what killed programs left; a file that is still coming in is locked."""
        for part in self.folder.glob(f".*{_SUFFIX}"):
            try:
                descriptor = os.open(part, os.O_RDONLY)
            except FileNotFoundError:
                continue
            try:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                part.unlink(missing_ok=True)
            except BlockingIOError:
                continue
            finally:
                os.close(descriptor)


def _require_size(size: int, kind: FileType, name: str) -> None:
    limit = LIMITS[kind.family]
    if size > limit:
        raise EvidenceError(
            f"the file is larger than the {limit / MB:.0f} MB that {kind.words} may have;"
            " nothing of it is kept",
            where=name,
            mend="Send a smaller export, or cut it into parts and say which part is which.",
        )
