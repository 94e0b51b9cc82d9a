"""Spreadsheets are read as text with addresses; nothing is evaluated, guessed or half read."""

import contextlib
import io
import re
import zipfile
from datetime import UTC, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook
from openpyxl.chart import BarChart
from openpyxl.comments import Comment

from spinproof.files import sheet_table
from spinproof.files.sheet import cell_name, column_name
from spinproof.files.sheet_table import read_sheets
from spinproof.model.errors import SheetError, StorageError


def read(tmp_path, data, name="gaps.csv"):
    path = tmp_path / "sheet"
    path.write_bytes(data)
    return read_sheets(path, name)


def read_rows(tmp_path, text, encoding="utf-8"):
    return read(tmp_path, text.encode(encoding)).only_sheet()


def cells_of(sheet):
    return [row.cells for row in sheet.rows]


def workbook_of(rows=(("tag", "gap"), ("T1", 0.8)), **settings):
    book = Workbook()
    book.active.title = "Parts"
    for row in rows:
        book.active.append(row)
    for key, value in settings.items():
        setattr(book.active, key, value)
    return book


def saved(book):
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def bent(data, part, change):
    """Give a workbook with one of its parts changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.infolist():
            content = old.read(entry)
            new.writestr(entry.filename, change(content) if entry.filename == part else content)
    return out.getvalue()


def with_part(data, name, content=b"<x/>"):
    file = io.BytesIO(data)
    with zipfile.ZipFile(file, "a") as archive:
        archive.writestr(name, content)
    return file.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
DAY = datetime(2030, 4, 3, tzinfo=UTC).replace(tzinfo=None)
"""A workbook knows no zones."""


def hand_made(rows, strings=()):
    """Give a workbook as office programs write it: texts in one list, rows point at them."""
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006"
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    listed = "".join(f"<si><t>{text}</t></si>" for text in strings)
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types">'
        f'<Override PartName="/xl/workbook.xml" ContentType="{kind}.sheet.main+xml"/>'
        f'<Override PartName="/{SHEET}" ContentType="{kind}.worksheet+xml"/>'
        f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}.sharedStrings+xml"/>'
        "</Types>",
        "xl/workbook.xml": f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets>'
        '<sheet name="Parts" sheetId="1" r:id="rId1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships">'
        f'<Relationship Id="rId1" Type="{office}/worksheet" Target="/{SHEET}"/></Relationships>',
        SHEET: f'<worksheet xmlns="{main}"><sheetData>{rows}</sheetData></worksheet>',
        "xl/sharedStrings.xml": f'<sst xmlns="{main}">{listed}</sst>',
    }
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    return file.getvalue()


@pytest.mark.parametrize(
    ("separator", "words"),
    [(",", "commas"), (";", "semicolons"), ("\t", "tabs"), ("|", "upright lines")],
)
def test_the_separator_is_seen_in_the_file_and_told(tmp_path, separator, words):
    sheet = read_rows(tmp_path, f"tag{separator}gap\r\nT1{separator}0.8 mm\r\n")

    assert cells_of(sheet) == [("tag", "gap"), ("T1", "0.8 mm")]
    assert f"cells are separated by {words}" in sheet.notices


def test_a_separator_that_cuts_rows_unlike_the_first_is_passed_over(tmp_path):
    sheet = read_rows(tmp_path, "tag,note; more,gap\nT1,a;b;c;d,1\n")

    assert cells_of(sheet)[1] == ("T1", "a;b;c;d", "1")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le-bom"])
def test_byte_order_marks_and_utf_16_are_understood(tmp_path, encoding):
    text = "part;gap\nDichtung Tür;0,80 µm\n"
    if encoding == "utf-16-le-bom":
        data = b"\xfe\xff" + text.encode("utf-16-be")
        sheet = read(tmp_path, data).only_sheet()
    else:
        sheet = read_rows(tmp_path, text, encoding)

    assert cells_of(sheet) == [("part", "gap"), ("Dichtung Tür", "0,80 µm")]
    assert ("the text is in UTF-16" in sheet.notices) == ("16" in encoding)


def test_decimal_commas_are_noticed_and_left_as_they_are(tmp_path):
    sheet = read_rows(tmp_path, "tag;gap, mm\nT1;0,80\nT2;1,9 mm\n")
    mixed = read_rows(tmp_path, "tag;gap\nT1;0,80\nT2;1.9 mm\n")

    assert cells_of(sheet)[1:] == [("T1", "0,80"), ("T2", "1,9 mm")]
    assert "numbers are written with a decimal comma (B2)" in sheet.notices
    assert "numbers are written with a decimal comma (B2) and with a point (B3)" in mixed.notices


def test_quotes_hold_separators_and_lines_together_and_blank_rows_keep_their_number(tmp_path):
    sheet = read_rows(tmp_path, 'tag,text\n\nT1,"worn, and\nrough"\n,,,\n"T2",""\n')

    assert [(row.number, row.cells) for row in sheet.rows] == [
        (1, ("tag", "text")),
        (3, ("T1", "worn, and\nrough")),
        (5, ("T2",)),
    ]


def test_ragged_rows_are_kept_as_they_are_for_the_preview_to_name(tmp_path):
    sheet = read_rows(tmp_path, "tag,gap\nT1,1,5 mm\nT2\n")

    assert cells_of(sheet) == [("tag", "gap"), ("T1", "1", "5 mm"), ("T2",)]


def test_a_single_column_needs_no_separator(tmp_path):
    sheet = read_rows(tmp_path, "tag\nT1\nT2\n")

    assert cells_of(sheet) == [("tag",), ("T1",), ("T2",)]
    assert sheet.notices == ()


@pytest.mark.parametrize(
    ("data", "what", "where"),
    [
        ("tag;gap\nT1;0,8 µm\n".encode("cp1252"), "the text is not UTF-8", "gaps.csv, line 2"),
        (b"tag;gap\nT1;0\x00\n", "holds zeros", "gaps.csv"),
        ("tag;gap\n".encode("utf-16-le"), "holds zeros", "gaps.csv"),
        (b"\xff\xfet", "the text is not UTF-16", "gaps.csv"),
        (b'tag;gap\nT1;"0,8\n', "line 2 cannot be cut", "gaps.csv"),
        (b"tag;gap\nT1;\x1b[2J\n", "is no text", "cell B2"),
        (b"tag;gap\nT1;" + b"x" * 4001 + b"\n", "longer than 4000", "cell B2"),
        (b"tag;" + b"gap;" * 1_000_000 + b"x\n", "more than 200", "row 1"),
        (b"tag;gap\n" + b"T1;1\n" * 20_000, "more than 20000 rows", "gaps.csv"),
        (b"tag;gap\n" + b"\n" * 20_000 + b"T1;1\n", "more than 20000 rows", "gaps.csv"),
        (b"", "holds no rows", "gaps.csv"),
        (b";;\n \n", "holds no rows", "gaps.csv"),
        (b"\xd0\xcf\x11\xe0rest", "an old workbook, or one with a password", "gaps.csv"),
        (b"PAR1rest", "a Parquet table", "gaps.csv"),
    ],
)
def test_what_is_no_table_of_text_is_refused_with_its_place(tmp_path, data, what, where):
    with pytest.raises(SheetError, match=re.escape(what)) as caught:
        read(tmp_path, data).only_sheet()

    assert where in caught.value.where
    assert caught.value.mend


FORMULAS = [
    "=1+1",
    "=cmd|' /C calc'!A0",
    "@SUM(1+1)",
    "+A1",
    "-A1+2",
    "-2+3+cmd|' /C calc'!D2",
    "\t=1",
    "＝1+1",
    "+(1)",
]


@pytest.mark.parametrize("formula", FORMULAS)
def test_formulas_are_refused_by_the_name_of_their_cell(tmp_path, formula):
    quoted = '"' + formula.replace('"', '""') + '"'

    with pytest.raises(SheetError, match="formulas are not taken: B2"):
        read_rows(tmp_path, f"tag,text\nT1,{quoted}\n")


@pytest.mark.parametrize(
    "text", ["-5.2 °C", "+0,3 mm", "-", "- none", "+/-0.1 mm", "+49 7700 900123", "a=b", "- worn!"]
)
def test_signs_before_numbers_and_words_are_no_formulas(tmp_path, text):
    assert read_rows(tmp_path, f"tag;text\nT1;{text}\n").rows[1].cells[1] == text


def test_a_file_that_is_too_large_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr(sheet_table, "FILE_LIMIT", 1000)

    with pytest.raises(SheetError, match="larger than"):
        read(tmp_path, b"x" * 1001)
    with pytest.raises(StorageError):
        read_sheets(tmp_path / "missing.csv")


def test_a_workbook_is_read_as_its_cells_were_meant(tmp_path):
    book = workbook_of(
        [
            ("tag", "gap", "share", "day", "moment", "lasted", "clock", "yes"),
            (
                "T1",
                0.1 + 0.2,
                0.05,
                DAY.date(),
                DAY.replace(hour=14, minute=5),
                None,
                None,
                True,
            ),
        ]
    )
    book.active["C2"].number_format = "0.0%"
    book.active["F2"], book.active["G2"] = timedelta(seconds=90), time(14, 5)
    file = read(tmp_path, saved(book), "parts.xlsx")

    assert file.only_sheet().name == "Parts"
    assert cells_of(file.only_sheet())[1] == (
        "T1",
        "0.3",
        "5 %",
        "2030-04-03",
        "2030-04-03 14:05:00",
        "90 s",
        "14:05:00",
        "yes",
    )


def test_gaps_between_cells_and_rows_keep_every_address(tmp_path):
    book = Workbook()
    book.active["C4"] = "here"
    (row,) = read(tmp_path, saved(book)).only_sheet().rows

    assert (row.number, row.cells) == (4, ("", "", "here"))


def test_formulas_and_errors_of_a_workbook_are_refused_by_name(tmp_path):
    formulas = workbook_of([("tag", "gap"), ("T1", "=1+1"), ("T2", "=SUM(B1:B2)")])
    errors = workbook_of([("tag", "gap"), ("T1", "#DIV/0!")])

    with pytest.raises(SheetError, match="formulas are not taken: B2, B3") as caught:
        read(tmp_path, saved(formulas), "parts.xlsx")
    assert caught.value.where == 'parts.xlsx, sheet "Parts"'
    with pytest.raises(SheetError, match=r"cells show errors: B2 \(#DIV/0!\)"):
        read(tmp_path, saved(errors))


def test_texts_in_the_list_of_an_office_program_are_found(tmp_path):
    rows = '<row r="1"><c r="A1" t="s"><v>1</v></c><c r="B1" t="s"><v>0</v></c></row>'
    sheet = read(tmp_path, hand_made(rows, ["gap", "tag &amp; no"])).only_sheet()

    assert cells_of(sheet) == [("tag & no", "gap")]
    with pytest.raises(SheetError, match="damaged"):
        read(tmp_path, hand_made(rows, ["gap"]))


def test_text_that_another_program_would_run_is_refused_as_well(tmp_path):
    rows = '<row r="2"><c r="B2" t="s"><v>0</v></c></row>'

    with pytest.raises(SheetError, match="formulas are not taken: B2"):
        read(tmp_path, hand_made(rows, ["=cmd|' /C calc'!A0"]))


def test_merged_cells_are_refused_by_name(tmp_path):
    book = workbook_of([("tag", "gap"), ("T1", 1), ("", 2)])
    book.active.merge_cells("A2:A3")

    with pytest.raises(SheetError, match="merged cells are not taken: A2:A3") as caught:
        read(tmp_path, saved(book), "parts.xlsx")
    assert "Split them" in caught.value.mend


def test_hidden_sheets_charts_and_comments_are_told_and_not_read(tmp_path):
    book = workbook_of()
    hidden = book.create_sheet("Secret")
    hidden["A1"] = "=1"
    hidden.merge_cells("A2:A3")
    hidden.sheet_state = "veryHidden"
    book.create_chartsheet("Plot").add_chart(BarChart())
    book.active["A1"].comment = Comment("a word", "RT-1")
    file = read(tmp_path, saved(book))

    assert [sheet.name for sheet in file.sheets] == ["Parts"]
    assert 'sheet "Secret" is hidden and was not read' in file.notices
    assert 'sheet "Plot" is a chart' in file.notices
    assert "comments on cells were not read" in file.notices


def test_the_sheet_must_be_named_when_several_hold_rows(tmp_path):
    book = workbook_of()
    book.create_sheet("Empty")
    assert read(tmp_path, saved(book)).only_sheet().name == "Parts"
    book.create_sheet("Findings")["A1"] = "x"
    file = read(tmp_path, saved(book))

    assert file.only_sheet("Findings").rows[0].cells == ("x",)
    with pytest.raises(SheetError, match='several sheets hold rows: "Parts", "Findings"'):
        file.only_sheet()
    with pytest.raises(SheetError, match='no sheet "Empty" with rows'):
        file.only_sheet("Empty")


def test_a_workbook_with_macros_is_refused(tmp_path):
    with pytest.raises(SheetError, match="macros"):
        read(tmp_path, with_part(saved(workbook_of()), "xl/vbaProject.bin"))


def test_entities_are_refused_before_anything_is_parsed(tmp_path):
    laughs = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]>'
    data = bent(saved(workbook_of()), SHEET, lambda part: laughs + part)
    hidden = bent(
        saved(workbook_of()), SHEET, lambda part: (laughs.decode() + part.decode()).encode("utf-16")
    )

    for bad in (data, hidden):
        with pytest.raises(SheetError, match="defines entities or is not UTF-8"):
            read(tmp_path, bad)


def test_a_zip_bomb_is_refused_before_it_is_unpacked(tmp_path):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b" " * 50_000_000)
    many = with_part(saved(workbook_of()), "xl/../../key")

    with pytest.raises(SheetError, match="times its size, as a zip bomb does"):
        read(tmp_path, file.getvalue())
    with pytest.raises(SheetError, match="points out of its folder"):
        read(tmp_path, many)


def test_other_archives_are_no_workbook(tmp_path):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")

    with pytest.raises(SheetError, match="no workbook in XLSX"):
        read(tmp_path, file.getvalue())


def test_rows_and_columns_without_end_are_refused(tmp_path):
    data = saved(workbook_of())
    far = bent(data, SHEET, lambda part: part.replace(b'<row r="2"', b'<row r="999999999"'))
    wide = workbook_of()
    wide.active.cell(1, 201, "x")
    long = workbook_of()
    long.active.cell(20_001, 1, "x")
    formatted = workbook_of()
    formatted.active.row_dimensions[30_000].height = 5

    with pytest.raises(SheetError, match="more rows than a sheet can have"):
        read(tmp_path, far)
    with pytest.raises(SheetError, match="201 cells, more than 200"):
        read(tmp_path, saved(wide))
    with pytest.raises(SheetError, match="more than 20000 rows"):
        read(tmp_path, saved(long))
    assert len(read(tmp_path, saved(formatted)).only_sheet().rows) == 2


def test_a_stated_size_that_is_too_small_hides_no_row(tmp_path):
    data = saved(workbook_of([("tag", "gap"), ("T1", 1), ("T2", 2)]))
    data = bent(data, SHEET, lambda part: part.replace(b'ref="A1:B3"', b'ref="A1:A1"'))

    assert len(read(tmp_path, data).only_sheet().rows) == 3


def test_rows_out_of_order_are_refused_for_one_of_them_would_be_lost(tmp_path):
    data = bent(
        saved(workbook_of([("tag",), ("T1",), ("T2",)])),
        SHEET,
        lambda part: part.replace(b'<row r="3"', b'<row r="1"'),
    )

    with pytest.raises(SheetError, match="out of order"):
        read(tmp_path, data)


def test_a_damaged_workbook_is_refused(tmp_path):
    data = saved(workbook_of())
    cut = bent(data, SHEET, lambda part: part[: len(part) // 2])
    lost = bent(data, "xl/_rels/workbook.xml.rels", lambda part: part.replace(b"sheet1", b"s9"))

    for bad in (cut, lost, data[:-10], b"PK\x03\x04"):
        with pytest.raises(SheetError, match=r"damaged|not opened"):
            read(tmp_path, bad)


@given(at=st.integers(0, 10_000), value=st.integers(0, 255))
def test_a_bent_byte_gives_rows_or_a_clear_refusal(tmp_path_factory, at, value):
    data = bytearray(saved(workbook_of()))
    data[at % len(data)] = value
    with contextlib.suppress(SheetError):
        assert read(tmp_path_factory.mktemp("bent"), bytes(data)).sheets


@given(data=st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
def test_no_bytes_whatever_raise_anything_but_a_clear_refusal(tmp_path_factory, data):
    with contextlib.suppress(SheetError):
        assert len(read(tmp_path_factory.mktemp("any"), data).sheets) == 1


def test_columns_are_named_as_spreadsheets_name_them():
    assert [column_name(at) for at in (0, 25, 26, 51, 52, 701, 702)] == [
        "A",
        "Z",
        "AA",
        "AZ",
        "BA",
        "ZZ",
        "AAA",
    ]
    assert cell_name(12, 27) == "AB12"
