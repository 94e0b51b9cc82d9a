"""The page that takes a spreadsheet in: every row is shown first, then all of them or none."""

from pathlib import PurePath
from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Query
from starlette.responses import Response

from spinproof.app.clock import utc_now
from spinproof.app.import_desk import ImportDesk, PreviewRow, SheetKind, SheetPreview, heads_of
from spinproof.app.sheet_templates import sheet_template
from spinproof.model.errors import SheetError
from spinproof.web.access import SHEET_BYTES, Me
from spinproof.web.deeds import forms_of
from spinproof.web.forms import FieldError, Form, Line, Posted, Text, Typed, at_field, blank
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()
MOST_SHOWN = 300
"""So many right rows are shown at most; wrong ones are shown all."""


class Sent(Typed):
    """What the file is."""

    kind: SheetKind
    sheet: Text = ""


class Decided(Typed):
    """The file that was looked at."""

    kind: SheetKind
    sheet: Text = ""
    file: Line
    held: Line


def import_desk(shop: Shop) -> ImportDesk:
    """Give what holds and takes in spreadsheets."""
    return ImportDesk(shop.home, shop.ledger)


Desk = Annotated[ImportDesk, Depends(import_desk)]


@router.get("/jobs/{job}/import")
def show_import(
    shop: Shop,
    me: Me,
    job: str,
    rows: Annotated[int | None, Query(ge=0)] = None,
    kind: SheetKind | None = None,
    unit: str | None = None,
) -> Response:
    """Show the form that takes a spreadsheet, and what was taken in just now."""
    return import_page(shop, me, job, unit=unit, taken=(rows, kind) if rows and kind else None)


@router.get("/jobs/{job}/template.csv")
def give_template(
    shop: Shop, job: str, unit: str | None = None, kind: SheetKind = SheetKind.PARTS
) -> Response:
    """Give a sheet to fill in, with the rows that a unit still lacks."""
    shop.job(job)
    text = sheet_template(shop.ledger, unit, kind, utc_now())
    name = quote(f"{unit or job}-{kind}.csv")
    return Response(
        text.encode("utf-8-sig"),
        media_type="text/csv",
        headers={"Content-Disposition": f"attachment; filename*=UTF-8''{name}"},
    )


def import_page(
    shop: Shop,
    me: Visitor,
    job: str,
    sent: Form | None = None,
    *,
    unit: str | None = None,
    taken: tuple[int, SheetKind] | None = None,
) -> Response:
    """Give the page of the import, with a form that was sent as it stood."""
    view = shop.job(job)
    units = [head.head for head in view.heads if head.in_scope]
    units += [machine.shared.unit for machine in view.machines if machine.shared]
    return render(
        "import.html",
        job=view,
        units=[unit] if unit in units else units,
        unit=unit if unit in units else None,
        form=forms_of(me, sent),
        kinds=[(kind.value, ", ".join(heads_of(kind))) for kind in SheetKind],
        most_mb=SHEET_BYTES // 1_000_000,
        taken=taken,
        simulated=False,
    )


@router.post("/jobs/{job}/import")
def show_rows(shop: Shop, desk: Desk, me: Me, posted: Posted, job: str) -> Response:
    """Show every row of a spreadsheet, and what it would do. Nothing is written."""

    def act() -> Response:
        typed = posted.read(Sent)
        file = posted.files.get("file")
        if file is None:
            raise FieldError({"file": "Choose a file: CSV or XLSX."})
        name = PurePath(file.filename or "file").name[:120]
        with file.file as stream:
            data = stream.read()
        with at_field("file", SheetError):
            key = desk.hold(data)
            shown = desk.preview(job, key, typed.kind, name, typed.sheet or None)
        return _preview(shop, me, job, shown, key, typed.sheet)

    return posted.answer(act, lambda form: import_page(shop, me, job, form))


@router.post("/jobs/{job}/import/apply")
def take_in(shop: Shop, desk: Desk, me: Me, posted: Posted, job: str) -> Response:
    """Take all rows in, or none."""

    def act() -> str:
        typed = posted.read(Decided)
        count = desk.take_in(job, typed.held, typed.kind, typed.file, typed.sheet or None, me.name)
        return f"{_page(job)}?{urlencode({'rows': count, 'kind': typed.kind.value})}"

    return posted.carry_out(act, lambda form: import_page(shop, me, job, form))


def _preview(
    shop: Shop, me: Visitor, job: str, shown: SheetPreview, key: str, sheet: str
) -> Response:
    form = blank(
        me,
        f"{_page(job)}/apply",
        kind=shown.kind.value,
        file=shown.file,
        held=key,
        sheet=sheet,
    )
    rows = _shown(shown.rows)
    return render(
        "import_rows.html",
        job=shop.job(job),
        shown=shown,
        rows=rows,
        left_out=len(shown.rows) - len(rows),
        form=form,
        simulated=False,
    )


def _shown(rows: tuple[PreviewRow, ...]) -> list[PreviewRow]:
    right = [row.number for row in rows if not row.problems][:MOST_SHOWN]
    kept = set(right)
    return [row for row in rows if row.problems or row.number in kept]


def _page(job: str) -> str:
    return f"/jobs/{quote(job)}/import"
