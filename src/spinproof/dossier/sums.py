"""The list of SHA-256 sums over a package: strict to write, strict to read.

The lines are those that ``sha256sum`` of GNU coreutils writes and checks; the first line counts
them, for that tool does not see files that the list leaves out.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

LIST_FILE = "SHA256SUMS"
SIGNATURE_FILE = "SHA256SUMS.sig"

_HEAD = re.compile(r"# files: (0|[1-9][0-9]{0,6})")
_LINE = re.compile(r"([0-9a-f]{64})  ([A-Za-z0-9._-]+(?:/[A-Za-z0-9._-]+)*)")


@dataclass(frozen=True)
class SumList:
    """A list as it was read: what it says, and what is wrong with its form."""

    sums: Mapping[str, str]
    """SHA-256 by path inside the package."""
    faults: tuple[str, ...]


def is_plain_path(path: str) -> bool:
    """Tell whether a path is fit for a list: plain characters, no step upwards, not the list."""
    return (
        _LINE.fullmatch(f"{'0' * 64}  {path}") is not None
        and not any(part.startswith(".") for part in path.split("/"))
        and path not in {LIST_FILE, SIGNATURE_FILE}
    )


def write_list(sums: Mapping[str, str]) -> bytes:
    """Give the bytes of a list, in order of the paths."""
    lines = [f"# files: {len(sums)}", *(f"{sums[path]}  {path}" for path in sorted(sums))]
    return ("\n".join(lines) + "\n").encode("ascii")


def read_list(data: bytes) -> SumList:
    """Read a list; what is not exactly as `write_list` writes it is told as a fault.

    Parameters
    ----------
    data : bytes
        The bytes of the file.

    Returns
    -------
    SumList
        All sums of well-formed lines, and the faults with their line numbers.
    """
    sums: dict[str, str] = {}
    faults = []
    head, *lines = data.decode("ascii", "replace").split("\n")
    if lines and lines[-1] == "":
        lines.pop()
    else:
        faults.append("the last line does not end")
    counted = _HEAD.fullmatch(head)
    if counted is None:
        faults.append('line 1 is not "# files: N"')
    for number, line in enumerate(lines, 2):
        match = _LINE.fullmatch(line)
        if match is None or not is_plain_path(match[2]):
            faults.append(f"line {number} is not a sum and a path")
        elif match[2] in sums:
            faults.append(f"line {number} names {match[2]} again")
        else:
            sums[match[2]] = match[1]
    if counted and int(counted[1]) != len(lines):
        faults.append(f"line 1 counts {counted[1]} files, and {len(lines)} lines follow")
    if list(sums) != sorted(sums):
        faults.append("the paths are out of order")
    if not sums:
        faults.append("the list is empty")
    return SumList(sums, tuple(faults))
