"""Comma-separated values, by whatever they are separated; the file itself must show it."""

import codecs
import csv
import io

from spinproof.files.sheet import ROW_LIMIT, Sheet, SheetRow, build_sheet, without_blank_end
from spinproof.model.errors import SheetError

SEPARATORS = {"\t": "tabs", ";": "semicolons", "|": "upright lines", ",": "commas"}
"""In this order: a comma may also stand inside numbers and sentences."""

_SAVE = 'Save it anew as "CSV UTF-8", or send the XLSX file.'


def read_csv(data: bytes, where: str) -> Sheet:
    """Read a CSV file.

    Parameters
    ----------
    data : bytes
        The whole file.
    where : str
        Name of the file, for messages.

    Returns
    -------
    Sheet
        Its rows; a row may have more or fewer cells than the first.

    Raises
    ------
    SheetError
        If it is no text in UTF-8 or UTF-16, or its quotes do not match.
    """
    text, encoding = _decode(data, where)
    readings = {separator: _parse(text, separator) for separator in SEPARATORS}
    separator = _fitting(readings, text)
    rows, fault = readings[separator]
    if fault:
        raise SheetError(
            fault, where=where, mend="Mend the quotes on that line, or leave them out."
        )
    widest = max((len(row.cells) for row in rows), default=0)
    notices = [f"cells are separated by {SEPARATORS[separator]}"] if widest > 1 else []
    if encoding != "UTF-8":
        notices.append(f"the text is in {encoding}")
    return build_sheet("", rows, where, tuple(notices))


Reading = tuple[list[SheetRow], str | None]
"""Rows, and what is wrong with the first one that cannot be read."""


def _decode(data: bytes, where: str) -> tuple[str, str]:
    encoding = "UTF-16" if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)) else "UTF-8"
    try:
        text = data.decode("utf-16" if encoding == "UTF-16" else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise SheetError(
            f"the text is not {encoding}", where=f"{where}, line {line}", mend=_SAVE
        ) from error
    if "\0" in text:
        raise SheetError("the file holds zeros and is no text", where=where, mend=_SAVE)
    return text, encoding


def _parse(text: str, separator: str) -> Reading:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    rows: list[SheetRow] = []
    try:
        for number, texts in enumerate(reader, 1):
            if cells := without_blank_end(texts):
                rows.append(SheetRow(number, cells))
                if number > ROW_LIMIT:
                    break  # it will be refused
    except csv.Error as error:
        return rows, f"line {reader.line_num} cannot be cut into cells: {error}"
    return rows, None


def _fitting(readings: dict[str, Reading], text: str) -> str:
    """Give the separator that cuts all rows alike; else the one that the first line has most."""
    widths = {
        separator: [len(row.cells) for row in rows]
        for separator, (rows, fault) in readings.items()
        if not fault
    }
    for separator, counts in widths.items():
        if counts and counts[0] > 1 and max(counts) == counts[0]:
            return separator
    first_line = text.lstrip("\r\n").partition("\n")[0]
    return max(SEPARATORS, key=first_line.count)
