"""A lock that the operating system keeps, and drops by itself when its holder dies."""

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from spinproof.files.durable import storage_errors
from spinproof.model.errors import BusyError


@contextmanager
def hold(path: Path, what: str) -> Iterator[None]:
    """Hold a file for oneself.

    Parameters
    ----------
    path : Path
        The file that stands for what is held; it is created when missing, and never written.
    what : str
        What is held, for the message, for example "head QM-207-L".

    Yields
    ------
    None
        While nobody else can hold it.

    Raises
    ------
    BusyError
        If another process, or another place in this one, holds it.
    """
    with storage_errors(path):
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise BusyError(
                f"{what} is in use by another run of this program",
                where=str(path),
                mend="Wait until the other one is done, or end it.",
            ) from error
        yield
    finally:
        os.close(descriptor)
