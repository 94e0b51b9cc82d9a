"""SHA-256 of bytes and of files."""

import hashlib
from pathlib import Path

from spinproof.files.durable import storage_errors


def sha256_of_bytes(data: bytes) -> str:
    """Give the SHA-256 of some bytes.

    Parameters
    ----------
    data : bytes
        The bytes.

    Returns
    -------
    str
        64 hexadecimal digits, lower case.
    """
    return hashlib.sha256(data).hexdigest()


def sha256_of_file(path: Path) -> str:
    """Give the SHA-256 of a file, read in pieces.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    str
        64 hexadecimal digits, lower case.

    Notes
    -----
    StorageError says when the file is missing or cannot be read.
    """
    with storage_errors(path), path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
