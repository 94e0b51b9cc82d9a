"""Files that never change, each kept once under its SHA-256."""

import hashlib
import os
import secrets
from pathlib import Path

from spinproof.files.durable import storage_errors, sync_folder, write_all

PIECE = 1 << 20


class KeptFiles:
    """A folder of files by their SHA-256, in folders of their first two digits.

    Parameters
    ----------
    folder : Path
        The folder; it is made when the first file comes.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def place(self, sha256: str) -> Path:
        """Give where a file of this SHA-256 lies, or would lie."""
        return self.folder / sha256[:2] / sha256

    def holds(self, sha256: str, size: int) -> bool:
        """Tell whether a file of this SHA-256 and size is kept; its bytes are not read."""
        place = self.place(sha256)
        return place.is_file() and place.stat().st_size == size

    def keep(self, source: Path) -> str:
        """Copy a file in, durably, unless it is there already.

        Parameters
        ----------
        source : Path
            The file; what is kept are the bytes that were read.

        Returns
        -------
        str
            Their SHA-256.

        Notes
        -----
        StorageError says when the disk is full; no part of the file is left then.
        """
        part = self.folder / f"{secrets.token_hex(8)}.part"
        with storage_errors(self.folder):
            self.folder.mkdir(parents=True, exist_ok=True)
            try:
                sha256 = copy_and_hash(source, part)
                place = self.place(sha256)
                if not place.is_file():
                    place.parent.mkdir(exist_ok=True)
                    part.replace(place)
                    sync_folder(place.parent)
            finally:
                part.unlink(missing_ok=True)
        return sha256


def copy_and_hash(source: Path, target: Path) -> str:
    """Copy a file to a new one and flush it to disk.

    Parameters
    ----------
    source, target : Path
        The files; the target must not exist.

    Returns
    -------
    str
        SHA-256 of the bytes that were copied.
    """
    digest = hashlib.sha256()
    descriptor = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with source.open("rb") as file:
            while piece := file.read(PIECE):
                digest.update(piece)
                write_all(descriptor, piece)
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    return digest.hexdigest()
