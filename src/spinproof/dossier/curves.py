"""Curves of a run as a table that any spreadsheet opens."""

import csv
import io
from collections.abc import Sequence

from spinproof.model.handover import Series

COLUMNS = ("time_s", "value", "unit", "curve")


def curves_table(series: Sequence[Series]) -> bytes:
    """Give the curves of a run as CSV after RFC 4180, one reading a line; a gap has no value.

    Parameters
    ----------
    series : sequence of Series
        The curves as the dossier draws them; the full record is the sealed trace.

    Returns
    -------
    bytes
        The table, UTF-8.
    """
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\r\n")
    table.writerow(COLUMNS)
    for curve in series:
        for time, value in zip(curve.time_s, curve.values, strict=True):
            read = "" if value is None else f"{value:.6g}"
            table.writerow((f"{time:.3f}", read, curve.unit, curve.name))
    return text.getvalue().encode()
