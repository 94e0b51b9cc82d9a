"""The files of a recorded run: the sealed trace, and what lies beside it."""

from pathlib import Path

from spinproof.app.home import Home
from spinproof.model.errors import SpinproofError
from spinproof.record.trace_file import files_beside


def trace_files(home: Home, sha256: str) -> dict[Path, str]:
    """Give the files of a run.

    Parameters
    ----------
    home : Home
        The shop's folders.
    sha256 : str
        SHA-256 of its sealed trace, in hex.

    Returns
    -------
    dict of Path to str
        The SHA-256 of each file by its place, the trace first; whether or not it is there. A
        trace that cannot be read stands alone.
    """
    path = home.trace(sha256)
    try:
        beside = files_beside(path)
    except SpinproofError:
        beside = {}
    return {path: sha256} | beside
