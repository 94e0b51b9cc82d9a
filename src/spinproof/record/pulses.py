"""Moments of tach pulses that lie beside a recording."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from spinproof.model.errors import TraceError
from spinproof.record.tables import check_rises, check_unit, read_csv, split_cell

_PULSE = "pulse"


def read_pulses(path: Path) -> NDArray[np.float64]:
    """Read a table of the moments of tach pulses.

    Parameters
    ----------
    path : Path
        CSV with a column "pulse [s]": one line a pulse, in the recording's own time.

    Returns
    -------
    ndarray
        Moments, rising. [s]

    Raises
    ------
    TraceError
        If the column is absent, a moment is missing or does not rise, or there are under four.

    Notes
    -----
    UnitError says when the column is not in seconds.
    """
    table = read_csv(path)
    found = [cell for cell in table.names if split_cell(cell)[0] == _PULSE]
    if not found:
        raise TraceError(
            f'the table lacks "{_PULSE} [s]"',
            where=f"{path}, header",
            mend="Export the moment of each tach pulse, one a line.",
        )
    check_unit(path, *split_cell(found[0]), "s")
    pulses = table.read(found[0]).values
    check_rises(pulses, lambda at: f"{path}, {table.places[at]}")
    if pulses.size < 4:
        raise TraceError(
            f"the table holds {pulses.size} pulses, too few to tell a speed",
            where=str(path),
            mend="Record the tach together with the vibration.",
        )
    return pulses
