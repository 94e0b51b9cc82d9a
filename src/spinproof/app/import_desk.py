"""Spreadsheets that were sent to the pages: held while somebody looks at the preview."""

from datetime import UTC, timedelta
from pathlib import Path

from spinproof.app.clock import utc_now
from spinproof.app.home import Home
from spinproof.app.sheet_columns import SheetKind as SheetKind
from spinproof.app.sheet_columns import heads_of as heads_of
from spinproof.app.sheet_import import import_sheet, preview_sheet
from spinproof.app.sheets import PreviewRow as PreviewRow
from spinproof.app.sheets import SheetPreview as SheetPreview
from spinproof.files.digest import sha256_of_bytes
from spinproof.files.durable import storage_errors, write_durably
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import SheetError

KEPT = timedelta(days=1)
"""How long a file waits for somebody to decide."""
_DIGITS = frozenset("0123456789abcdef")


class ImportDesk:
    """Shows what a spreadsheet would do, and does it.

    Parameters
    ----------
    home : Home
        Where files wait.
    ledger : Ledger
        Where rows go.
    """

    def __init__(self, home: Home, ledger: Ledger) -> None:
        self._folder = home.root / "imports"
        self._ledger = ledger

    def hold(self, data: bytes) -> str:
        """Keep a file until somebody decides; gives what it is asked for by."""
        key = sha256_of_bytes(data)
        with storage_errors(self._folder):
            self._folder.mkdir(exist_ok=True)
        self._clear()
        write_durably(self._folder / key, data)
        return key

    def preview(
        self, job: str, key: str, kind: SheetKind, name: str, sheet: str | None
    ) -> SheetPreview:
        """Show every row of a file, and what it would do. Nothing is written."""
        return preview_sheet(
            self._ledger, job, self._path(key), kind, zone=UTC, name=name, sheet=sheet
        )

    def take_in(
        self, job: str, key: str, kind: SheetKind, name: str, sheet: str | None, by: str
    ) -> int:
        """Take all rows of a file in, or none; gives how many there were."""
        path = self._path(key)
        shown = import_sheet(self._ledger, job, path, kind, by=by, zone=UTC, name=name, sheet=sheet)
        path.unlink(missing_ok=True)
        return len(shown.rows)

    def _path(self, key: str) -> Path:
        path = self._folder / key
        if len(key) != 64 or not set(key) <= _DIGITS or not path.is_file():
            raise SheetError(
                "the file is not held here any more",
                where="import",
                mend="Nothing was taken in. Choose the file again.",
            )
        return path

    def _clear(self) -> None:
        oldest = (utc_now() - KEPT).timestamp()
        for path in self._folder.iterdir():
            if path.stat().st_mtime < oldest:
                path.unlink(missing_ok=True)
