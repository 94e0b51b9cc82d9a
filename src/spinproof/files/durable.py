"""Writing that survives a power cut: a file is either the old one or the new one, whole."""

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from spinproof.model.errors import StorageError

_MENDS = {
    errno.ENOSPC: "Free space on that disk, then repeat the step.",
    errno.EDQUOT: "Free space in your quota, then repeat the step.",
    errno.EROFS: "Choose a folder that can be written, or make the disk writable.",
    errno.EACCES: "Give yourself the right to write there, or choose another folder.",
    errno.EPERM: "Give yourself the right to write there, or choose another folder.",
    errno.ENOENT: "Create the folder, or connect the disk that it is on.",
    errno.ENOTDIR: "Name a folder, not a file, in front of the file's name.",
    errno.EISDIR: "Name a file, not a folder.",
}
_MEND_OTHERWISE = "Check the disk and its connection, then repeat the step."


def write_durably(path: Path, data: bytes) -> None:
    """Write a file so that a power cut leaves the old content or the new, never a part.

    Parameters
    ----------
    path : Path
        The file; an existing one is replaced.
    data : bytes
        Its whole content.

    Notes
    -----
    StorageError says when the disk is full, missing or read-only; the old content is then
    still there.
    """
    part = path.with_name(f".{path.name[:200]}.{secrets.token_hex(4)}.part")
    with storage_errors(path):
        try:
            _write_new(part, data)
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
        sync_folder(path.parent)


def write_all(descriptor: int, data: bytes) -> None:
    """Write all bytes to an open file; a write that takes only a part of them is repeated.

    Parameters
    ----------
    descriptor : int
        An unbuffered file descriptor.
    data : bytes
        What to write.

    Notes
    -----
    OSError comes as the system gives it; a part of the bytes may then stand in the file.
    """
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(descriptor, rest) :]


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable, after a file was created, renamed or removed.

    Parameters
    ----------
    folder : Path
        The folder.
    """
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def sync_file(path: Path) -> None:
    """Make what was written to a file durable, whoever wrote it.

    Parameters
    ----------
    path : Path
        The file.
    """
    sync_folder(path)  # a file is synchronized as a folder is


@contextmanager
def storage_errors(path: Path, safe: str = "") -> Iterator[None]:
    """Put errors of the operating system into words.

    Parameters
    ----------
    path : Path
        The file or folder that is worked on.
    safe : str
        A clause that says what is safe in spite of the error.

    Yields
    ------
    None
        While the work is done.

    Raises
    ------
    StorageError
        If the work raised OSError.
    """
    try:
        yield
    except StorageError:
        raise
    except OSError as error:
        said = (error.strerror or str(error)).lower()
        raise StorageError(
            f"the file cannot be written or read: {said}" + (f"; {safe}" if safe else ""),
            where=str(path),
            mend=_MENDS.get(error.errno or 0, _MEND_OTHERWISE),
        ) from error


def _write_new(path: Path, data: bytes) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
    try:
        write_all(descriptor, data)
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
