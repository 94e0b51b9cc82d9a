"""Whether the disk has room for a run, asked before it starts."""

import shutil
from pathlib import Path

from spinproof.files.durable import storage_errors
from spinproof.model.errors import StorageError
from spinproof.model.run import RunHeader
from spinproof.record.blocks import count_type
from spinproof.record.recorder import longest_run_s

RESERVE = 2.0
"""How many times the longest run must find room: its journal, and the sealed trace beside it."""
_FRAMING = 1.25
"""Heads of blocks and frames, and registers that the map does not name, in proportion."""


def longest_run_bytes(header: RunHeader) -> int:
    """Give how many bytes the samples of the longest run take.

    Parameters
    ----------
    header : RunHeader
        Its recipe tells how long, its channel map how much a second.

    Returns
    -------
    int
        Bytes.
    """
    a_second = sum(
        stream.sample_rate_hz * count_type(channel).itemsize
        for stream in header.channel_map.streams
        for channel in stream.channels
    )
    fastest_hz = max((c.sample_rate_hz for c in header.channel_map.channels), default=0.0)
    a_second += fastest_hz * sum(count_type(c).itemsize for c in header.channel_map.channels)
    return round(_FRAMING * a_second * longest_run_s(header.recipe))


def require_room(folder: Path, header: RunHeader) -> None:
    """Refuse to begin a run that the disk may not hold to its end.

    Parameters
    ----------
    folder : Path
        Where the journal goes.
    header : RunHeader
        What is known about the run.

    Raises
    ------
    StorageError
        If less is free than twice what the longest run needs; nothing was begun.
    """
    needed = RESERVE * longest_run_bytes(header)
    with storage_errors(folder):
        free = shutil.disk_usage(folder).free
    if free < needed:
        raise StorageError(
            f"the disk has {free / 1e6:.1f} MB free, and the run may need {needed / 1e6:.1f} MB "
            "with its sealed trace; nothing was begun",
            where=str(folder),
            mend="Free space on that disk, or choose another folder, then start the run.",
        )
