"""A spreadsheet, CSV or XLSX, as sheets of text with addresses; nothing is evaluated or guessed."""

from dataclasses import dataclass
from pathlib import Path

from spinproof.files.durable import storage_errors
from spinproof.files.sheet import Sheet
from spinproof.files.sheet_csv import read_csv
from spinproof.files.sheet_xlsx import read_xlsx
from spinproof.model.errors import SheetError

FILE_LIMIT = 50_000_000
"""Largest file that is read. [bytes]"""

_OTHERS = {
    b"\xd0\xcf\x11\xe0": "an old workbook, or one with a password",
    b"PAR1": "a Parquet table",
    b"%PDF": "a PDF document",
    b"\x1f\x8b": "a gzip file",
}


@dataclass(frozen=True)
class SheetFile:
    """A spreadsheet file as it was read."""

    name: str
    sheets: tuple[Sheet, ...]
    notices: tuple[str, ...]
    """What was left out, in words."""

    def only_sheet(self, title: str | None = None) -> Sheet:
        """Give the sheet that is meant.

        Parameters
        ----------
        title : str or None
            Its name; without one there must be a single sheet with content.

        Returns
        -------
        Sheet
            The sheet.

        Raises
        ------
        SheetError
            If there is none, or it is unclear which one is meant.
        """
        filled = [sheet for sheet in self.sheets if sheet.rows]
        meant = [sheet for sheet in filled if title is None or sheet.name == title]
        if len(meant) == 1:
            return meant[0]
        names = ", ".join(f'"{sheet.name}"' for sheet in filled)
        if not filled:
            what, mend = "the file holds no rows", "Choose the file again."
        elif title is not None:
            what, mend = f'there is no sheet "{title}" with rows', f"Name one of: {names}."
        else:
            what, mend = f"several sheets hold rows: {names}", "Say which one is meant."
        raise SheetError(what, where=self.name, mend=mend)


def read_sheets(path: Path, name: str | None = None) -> SheetFile:
    """Read a spreadsheet.

    Parameters
    ----------
    path : Path
        The file, CSV or XLSX by its content.
    name : str or None
        What to call it in messages, if not by its path.

    Returns
    -------
    SheetFile
        Its sheets.

    Raises
    ------
    SheetError
        If it is neither, too large, damaged or hostile, or holds merged cells or formulas.
    """
    shown = name or path.name
    with storage_errors(path), path.open("rb") as file:
        data = file.read(FILE_LIMIT + 1)
    if len(data) > FILE_LIMIT:
        raise SheetError(
            f"the file is larger than {FILE_LIMIT // 1_000_000} MB",
            where=shown,
            mend="Export the rows and columns that are needed only.",
        )
    if found := next((words for start, words in _OTHERS.items() if data.startswith(start)), None):
        raise SheetError(
            f"the file is {found}", where=shown, mend="Save it as XLSX or CSV without a password."
        )
    if data.startswith(b"PK"):
        sheets, notices = read_xlsx(data, shown)
    else:
        sheets, notices = (read_csv(data, shown),), ()
    return SheetFile(shown, sheets, notices)
