"""Workbooks in XLSX: cells as they were typed, after a look at what else the file holds."""

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from datetime import datetime, time, timedelta
from typing import Any
from xml.etree import ElementTree as ET

import openpyxl

from spinproof.files.archive import refusal_of
from spinproof.files.sheet import (
    Sheet,
    SheetRow,
    build_sheet,
    cell_name,
    named,
    refuse_formulas,
    without_blank_end,
)
from spinproof.model.errors import SheetError

UNPACKED_LIMIT = 200_000_000
MOST_ROWS = 1_048_576
"""As many rows as a sheet can have; empty ones may be stored for their format."""

_AGAIN = "Open it in a spreadsheet program, save it anew as XLSX, and send that."
_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_RELATION = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_MERGE = re.compile(rb"""<(?:\w+:)?mergeCell\s[^>]*?\bref\s*=\s*["']([A-Z0-9:$]{1,20})""")
_ROW = re.compile(rb"""<(?:\w+:)?row\s[^>]*?\br\s*=\s*["'](\d{1,9})["']""")
_DOCTYPE = re.compile(rb"<!\s*(DOCTYPE|ENTITY)", re.IGNORECASE)
_LEFT_OUT = {
    "xl/externalLinks/": "links to other workbooks were not followed",
    "xl/connections": "connections to databases were not followed",
    "xl/comments": "comments on cells were not read",
    "xl/media/": "pictures were not read",
    "xl/embeddings/": "embedded files were not read",
}


def read_xlsx(data: bytes, where: str) -> tuple[tuple[Sheet, ...], tuple[str, ...]]:
    """Read a workbook.

    Parameters
    ----------
    data : bytes
        The whole file.
    where : str
        Name of the file, for messages.

    Returns
    -------
    tuple
        Its visible sheets, and what was left out, in words.

    Raises
    ------
    SheetError
        If it is no workbook, is damaged, could harm, or holds merged cells, formulas or errors.
    """
    if reason := refusal_of(io.BytesIO(data), unpacked_limit=UNPACKED_LIMIT):
        raise SheetError(f"the workbook is not opened: {reason}", where=where, mend=_AGAIN)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of features that are not read at all
        try:
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                notices = list(_look_inside(archive, where))
            return _read_sheets(data, where, notices), tuple(notices)
        except SheetError:
            raise
        except Exception as error:  # a damaged workbook makes the libraries raise anything
            raise SheetError("the workbook is damaged", where=where, mend=_AGAIN) from error


def _look_inside(archive: zipfile.ZipFile, where: str) -> Iterator[str]:
    """Refuse what could harm or mislead; say what will be left out."""
    names = archive.namelist()
    _require_workbook(names, where)
    for name in names:
        if name.endswith((".xml", ".rels", ".vml")):
            _require_plain_xml(archive.read(name), name, where)
    for title, path, state in _listed_sheets(archive):
        if state == "visible":
            _require_plain_rows(archive.read(path), f'{where}, sheet "{title}"')
        else:
            yield f'sheet "{title}" is hidden and was not read'
    for start, notice in _LEFT_OUT.items():
        if any(name.startswith(start) for name in names):
            yield notice


def _require_workbook(names: list[str], where: str) -> None:
    if any(name.endswith("vbaProject.bin") or "macrosheets/" in name for name in names):
        raise SheetError(
            "the workbook holds macros", where=where, mend="Save it as XLSX without macros."
        )
    if "xl/workbook.xml" not in names:
        raise SheetError(
            "the file is no workbook in XLSX", where=where, mend="Save it as XLSX or CSV."
        )


def _require_plain_xml(part: bytes, name: str, where: str) -> None:
    if part.startswith((b"\xff\xfe", b"\xfe\xff")) or _DOCTYPE.search(part):
        raise SheetError(
            f'its part "{name}" defines entities or is not UTF-8', where=where, mend=_AGAIN
        )


def _listed_sheets(archive: zipfile.ZipFile) -> Iterator[tuple[str, str, str]]:
    """Give title, part and state of each sheet with cells."""
    relations = ET.fromstring(archive.read("xl/_rels/workbook.xml.rels"))  # noqa: S314 - no entities
    targets = {
        relation.get("Id"): relation.get("Target", "")
        for relation in relations
        if relation.get("Type", "").endswith("/worksheet")
    }
    workbook = ET.fromstring(archive.read("xl/workbook.xml"))  # noqa: S314 - no entities, see above
    for sheet in workbook.iter(f"{_MAIN}sheet"):
        if target := targets.get(sheet.get(_RELATION)):
            path = target.removeprefix("/") if target.startswith("/") else f"xl/{target}"
            yield sheet.get("name", ""), path, sheet.get("state", "visible")


def _require_plain_rows(part: bytes, where: str) -> None:
    if merged := [found.decode() for found in _MERGE.findall(part)]:
        raise SheetError(
            f"merged cells are not taken: {named(merged)}",
            where=where,
            mend="Split them, and write the content into every row that it is for.",
        )
    numbers = [int(found) for found in _ROW.findall(part)]
    if numbers and max(numbers) > MOST_ROWS:
        raise SheetError("it has more rows than a sheet can have", where=where, mend=_AGAIN)
    if numbers != sorted(set(numbers)):
        raise SheetError("its rows are stored out of order", where=where, mend=_AGAIN)


def _read_sheets(data: bytes, where: str, notices: list[str]) -> tuple[Sheet, ...]:
    workbook = openpyxl.load_workbook(io.BytesIO(data), read_only=True, keep_links=False)
    sheets = []
    try:
        notices += [f'sheet "{chart.title}" is a chart' for chart in workbook.chartsheets]
        for sheet in workbook.worksheets:
            if sheet.sheet_state == "visible":
                place = f'{where}, sheet "{sheet.title}"'
                sheets.append(build_sheet(sheet.title, _rows(sheet, place), place))
        return tuple(sheets)
    finally:
        workbook.close()


def _rows(sheet: Any, where: str) -> Iterator[SheetRow]:
    """Give the rows as text; formulas and errors are refused together, at the end."""
    formulas, errors = [], []
    sheet.reset_dimensions()  # what the file states of its size is not believed
    for number, cells in enumerate(sheet.iter_rows(), 1):
        texts = []
        for column, cell in enumerate(cells):
            texts.append(_text(cell.value, cell.number_format))
            if cell.data_type == "f":
                formulas.append(cell_name(number, column))
            elif cell.data_type == "e":
                errors.append(f"{cell_name(number, column)} ({cell.value})")
        if kept := without_blank_end(texts):
            yield SheetRow(number, kept)
    refuse_formulas(formulas, where)
    _refuse_errors(errors, where)


def _refuse_errors(errors: list[str], where: str) -> None:
    if errors:
        raise SheetError(
            f"cells show errors: {named(errors)}", where=where, mend="Mend or empty these cells."
        )


def _text(value: Any, number_format: str | None) -> str:
    """Write a value as the person who typed it means it."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case int() | float():
            is_percent = "%" in (number_format or "")
            return f"{value * 100:.15g} %" if is_percent else f"{value:.15g}"
        case datetime():
            nearest = (value + timedelta(milliseconds=500)).replace(microsecond=0)
            at_midnight = nearest.time() == time()
            return nearest.date().isoformat() if at_midnight else nearest.isoformat(" ")
        case timedelta():
            return f"{value.total_seconds():.15g} s"
        case _:
            return str(value)
