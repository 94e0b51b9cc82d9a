"""A sheet is shown row by row before anything is imported, and then all of it or nothing."""

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook
from tests.shop_files import matrix, positions, sheets

from spinproof.app.sheet_columns import COLUMNS, SheetKind, heads_of
from spinproof.app.sheet_values import (
    FindingValue,
    Known,
    MeasurementValue,
    Occupant,
    PartValue,
    UnitFacts,
)
from spinproof.app.sheets import apply, preview
from spinproof.model.errors import GateClosedError, SheetError
from spinproof.model.instrument import (
    Calibration,
    InstrumentKind,
    InstrumentRecord,
    MeasuringRange,
)
from spinproof.model.part import Belongs, Provenance, Severity
from spinproof.model.quantity import Quantity
from spinproof.model.shop_rules import ShopRules
from spinproof.model.tag import tag_of

SHOP_TIME = timezone(timedelta(hours=1))
NOW = datetime(2030, 5, 1, 12, 0, tzinfo=UTC)
ROTOR, SPINDLE, OLD_SEAL = (tag_of(f"QM207L{code}01") for code in ("RTR", "SPI", "DSL"))


def dial_gauge(due):
    return InstrumentRecord(
        id="DG-2",
        kind=InstrumentKind.DIAL_GAUGE,
        words="dial gauge",
        ranges=(
            MeasuringRange(unit="mm", low=0, high=1, resolution=0.01, standard_uncertainty=0.004),
        ),
        calibrations=(Calibration(at=date(2030, 1, 1), due=due, certificate="C-1"),),
    )


def known(**changes):
    fields = {
        "now": NOW,
        "opened": datetime(2030, 2, 1, 8, 30, tzinfo=UTC),
        "zone": SHOP_TIME,
        "rules": ShopRules(name="shop", positions=positions(), sheets=sheets(), matrix=matrix()),
        "units": {
            "QM-207-L": UnitFacts(Belongs.HEAD, in_scope=True, refused={"WIN": "declined"}),
            "QM-207-U": UnitFacts(Belongs.HEAD, in_scope=False, refused={}),
            "QM-207-S": UnitFacts(Belongs.SHARED, in_scope=True, refused={}),
        },
        "parts": {OLD_SEAL: "in DSL of QM-207-L"},
        "occupants": {
            ("QM-207-L", "DSL"): Occupant(OLD_SEAL, datetime(2030, 3, 1, 9, tzinfo=SHOP_TIME))
        },
        "instruments": {
            "DG-2": dial_gauge(date(2030, 12, 31)),
            "PT-1": InstrumentRecord(
                id="PT-1", kind=InstrumentKind.PRESSURE_TRANSDUCER, words="pressure transducer"
            ),
        },
        "answered": set(),
        "findings": set(),
    }
    return Known(**fields | changes)


@pytest.fixture
def show(tmp_path):
    def shown(kind, text, facts=None, **settings):
        path = tmp_path / "sheet.csv"
        path.write_text(text, encoding="utf-8")
        return preview(path, kind, facts or known(), name="rows.csv", **settings)

    return shown


PARTS = "Tag;Head;Position;Provenance;Installed on\n"
FINDINGS = "head;finding;severity;seen;position;tag\n"
VALUES = "head;check;reading;value;instrument;measured\n"
RUNOUT = "rim, radial, top plane"


def problems_of(shown):
    return [(problem.where, problem.what) for row in shown.rows for problem in row.problems]


def test_a_sheet_of_parts_says_what_each_row_will_do(show):
    shown = show(
        SheetKind.PARTS,
        PARTS + f"{ROTOR};qm-207-l;RTR;replaced-with_new;2030-04-03\n"
        f"{SPINDLE[:4]}-{SPINDLE[4:].lower()};QM-207-L;Spindle;kept;2030-04-03 14:05\n",
    )

    assert shown.is_ready
    assert [row.does for row in shown.rows] == [
        f"takes in {ROTOR}, replaced with new, as rotor (RTR) of QM-207-L on 2030-04-03",
        f"takes in {SPINDLE}, kept, as spindle (SPI) of QM-207-L on 2030-04-03 14:05+01:00",
    ]
    assert shown.rows[0].notices == ("still needs: certificate or supplier's packing record",)
    assert shown.rows[0].value == PartValue(
        tag=ROTOR,
        unit="QM-207-L",
        position="RTR",
        words="rotor",
        provenance=Provenance.REPLACED_NEW,
        serial=None,
        lot=None,
        material=None,
        why="imported from a sheet",
        done_at=datetime(2030, 4, 3, tzinfo=SHOP_TIME),
    )


def test_another_part_at_a_declined_position_is_refused_and_its_own_is_taken(show):
    tag = tag_of("QM207LWIN01")
    row = f"{tag};QM-207-L;WIN;%s;2030-04-03\n"
    another, own = (
        show(SheetKind.PARTS, PARTS + row % word) for word in ("replaced with new", "kept")
    )

    assert problems_of(another) == [
        (
            'rows.csv, cell C2 (column "Position")',
            "window is declined: only the part that came from there may go back",
        )
    ]
    assert own.is_ready


def test_heads_are_found_however_they_are_written_and_others_are_told(show):
    shown = show(
        SheetKind.PARTS,
        " PART TAG ;Head or Module:;Position_Code;Origin;Fitted on;Serial No.;Colour\n"
        f"{ROTOR};QM-207-L;rotor;kept;2030-04-03;A-1;red\n",
    )

    assert shown.rows[0].value.serial == "A-1"
    assert 'column G "Colour" is not used' in shown.notices
    assert "cells are separated by semicolons" in shown.notices


def test_a_missing_or_doubled_head_is_refused_with_the_heads_that_are_needed(show):
    with pytest.raises(SheetError, match='"provenance"') as missing:
        show(SheetKind.PARTS, "Tag;Head;Position;Installed\n")
    with pytest.raises(SheetError, match='"Part tag" and column A are both "tag"'):
        show(SheetKind.PARTS, "Tag;Part tag;Head;Position;Provenance;Installed\n")

    assert missing.value.mend.startswith("Head the columns: tag, head, position")
    assert missing.value.where == "rows.csv, row 1"


def test_a_tag_with_one_wrong_character_is_named_with_its_cell(show):
    wrong = ROTOR.replace("L", "U", 1)
    shown = show(
        SheetKind.PARTS,
        PARTS + f"{ROTOR};QM-207-L;RTR;kept;2030-04-03\n{wrong};QM-207-L;SPI;kept;2030-04-03\n",
    )
    (problem,) = shown.rows[1].problems

    assert not shown.is_ready
    assert shown.rows[0].does
    assert problem.where == 'rows.csv, cell A3 (column "Tag")'
    assert "check character" in problem.what


def test_every_wrong_cell_of_a_row_is_named_at_once(show):
    shown = show(
        SheetKind.PARTS,
        PARTS + f"{OLD_SEAL};QM-207-L;DSL;kept;2030-04-03\n"
        f"{ROTOR};QM-999;XYZ;brand new;03/04/2030\n"
        ";;;;\n"
        f";QM-207-S;RTR;missing;2031-01-01\n",
    )

    assert problems_of(shown) == [
        ('rows.csv, cell A2 (column "Tag")', "the tag exists: in DSL of QM-207-L"),
        ('rows.csv, cell C2 (column "Position")', f"door seal holds {OLD_SEAL}"),
        ('rows.csv, cell B3 (column "Head")', '"QM-999" is not of this job'),
        ('rows.csv, cell C3 (column "Position")', 'there is no position "XYZ"'),
        ('rows.csv, cell D3 (column "Provenance")', '"brand new" is not known'),
        (
            'rows.csv, cell E3 (column "Installed on")',
            '"03/04/2030" can be read as 2030-04-03 or as 2030-03-04',
        ),
        ('rows.csv, cell A5 (column "Tag")', "tag is missing"),
        ('rows.csv, cell C5 (column "Position")', "rotor belongs to a head"),
        ('rows.csv, cell D5 (column "Provenance")', "a missing part has no tag"),
        ('rows.csv, cell E5 (column "Installed on")', "2031-01-01 lies in the future"),
    ]
    assert all(problem.mend for row in shown.rows for problem in row.problems)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("03/04/2030", '"03/04/2030" can be read as 2030-04-03 or as 2030-03-04'),
        ("3.4.2030", '"3.4.2030" can be read as 2030-04-03 or as 2030-03-04'),
        ("25/04/2030", '"25/04/2030" is not written as year-month-day'),
        ("04/04/2030", '"04/04/2030" is not written as year-month-day'),
        ("03/04/30", '"03/04/30" is not written as year-month-day'),
        ("47576", '"47576" is not written as year-month-day'),
        ("2030-02-30", '"2030-02-30" is no day of the calendar'),
        ("2030-04-03 25:00", '"2030-04-03 25:00" is no day of the calendar'),
        ("soon", '"soon" is not written as year-month-day'),
    ],
)
def test_a_date_that_could_be_mistaken_is_refused(show, text, what):
    shown = show(SheetKind.PARTS, PARTS + f"{ROTOR};QM-207-L;RTR;kept;{text}\n")

    assert problems_of(shown) == [('rows.csv, cell E2 (column "Installed on")', what)]
    assert "2030-04-03" in shown.rows[0].problems[0].mend


def test_times_carry_their_own_zone_or_that_of_the_shop(show):
    def at(text):
        shown = show(SheetKind.PARTS, PARTS + f"{ROTOR};QM-207-L;RTR;kept;{text}\n")
        return shown.rows[0].value.done_at.astimezone(UTC).isoformat()

    assert at("2030-04-03 14:05") == "2030-04-03T13:05:00+00:00"
    assert at("2030-04-03T14:05:06-05:00") == "2030-04-03T19:05:06+00:00"
    assert at("2030-04-03 14:05Z") == "2030-04-03T14:05:00+00:00"


def test_what_was_done_before_the_job_is_refused(show):
    def problems(text):
        return problems_of(show(SheetKind.PARTS, PARTS + f"{ROTOR};QM-207-L;RTR;kept;{text}\n"))

    assert problems("2030-02-01 09:30") == []
    assert problems("2030-02-01") == [
        (
            'rows.csv, cell E2 (column "Installed on")',
            "2030-02-01 lies before the job was taken in, 2030-02-01 09:30+01:00",
        )
    ]


def test_two_rows_that_do_the_same_are_told_apart(show):
    shown = show(
        SheetKind.PARTS,
        PARTS + f"{ROTOR};QM-207-L;RTR;kept;2030-04-03\n"
        f"{ROTOR};QM-207-L;SPI;kept;2030-04-03\n"
        f"{SPINDLE};QM-207-L;RTR;kept;2030-04-03\n",
    )

    assert problems_of(shown) == [
        ("rows.csv, row 3", f"tag {ROTOR} stands in row 2 already"),
        ("rows.csv, row 4", "this position stands in row 2 already"),
    ]


def test_ragged_rows_are_named_and_their_cells_not_shifted_silently(show):
    shown = show(
        SheetKind.FINDINGS,
        "head,finding,severity,seen\n"
        "QM-207-L,worn, rough,function,2030-04-03\n"
        "QM-207-L,worn,function,2030-04-03\n"
        "QM-207-L,worn\n",
    )

    assert ("rows.csv, row 2", "the row has 5 cells, the head 4") in problems_of(shown)
    assert shown.rows[1].does
    assert ('rows.csv, cell C4 (column "severity")', "severity is missing") in problems_of(shown)


def test_a_cell_under_no_head_is_named(show):
    shown = show(
        SheetKind.FINDINGS,
        "head;finding;;severity;seen\nQM-207-L;worn;odd;function;2030-04-03\n",
    )

    assert problems_of(shown) == [("rows.csv, row 2", "a cell stands under none of the 4 heads")]


def test_a_sheet_of_findings_becomes_findings(show):
    shown = show(
        SheetKind.FINDINGS,
        FINDINGS + f"QM-207-L;nick in the lip;FUNCTION;2030-04-03;door seal;{OLD_SEAL}\n"
        "QM-207-U;channel 2 welded;safety;2030-04-03;DSW;\n",
    )
    first = shown.rows[0].value

    assert shown.is_ready
    assert isinstance(first, FindingValue)
    assert (first.content.severity, first.content.position) == (Severity.FUNCTION, "DSL")
    assert (first.content.tag, first.content.text) == (OLD_SEAL, "nick in the lip")
    assert shown.rows[1].does == (
        "opens a finding (safety) at door switch (DSW) of QM-207-U, seen on 2030-04-03"
    )


def test_wrong_findings_are_named(show):
    shown = show(
        SheetKind.FINDINGS,
        FINDINGS + f"QM-207-L;{'x' * 601};grave;2030-04-03;;{ROTOR}\n"
        "QM-207-L;worn;function;2030-04-03;;\n"
        "QM-207-L;worn;function;2030-04-03;;\n",
    )

    assert problems_of(shown) == [
        ('rows.csv, cell F2 (column "tag")', f"no part has the tag {ROTOR}"),
        ('rows.csv, cell C2 (column "severity")', '"grave" is not known'),
        ('rows.csv, cell B2 (column "finding")', "the text has 601 characters"),
        ("rows.csv, row 4", "the same finding stands in row 3 already"),
    ]


def test_a_measurement_takes_its_unit_from_the_cell(show):
    shown = show(
        SheetKind.MEASUREMENTS,
        VALUES + f"QM-207-L;d-10;{RUNOUT};0,21 mm;dg-2;2030-04-03\n",
    )

    assert shown.rows[0].does == (
        'answers D-10 "rim, radial, top plane" of QM-207-L: 0.21 mm by DG-2 on 2030-04-03'
    )
    assert shown.rows[0].value == MeasurementValue(
        unit="QM-207-L",
        check="D-10",
        reading=RUNOUT,
        value=Quantity(value=0.21, unit="mm"),
        yes=None,
        words=None,
        instrument="DG-2",
        conditions="",
        done_at=datetime(2030, 4, 3, tzinfo=SHOP_TIME),
    )


@pytest.mark.parametrize(
    ("heads", "cells", "value"),
    [
        ("value [µm]", "210", Quantity(value=210, unit="um")),
        ("Value (mm)", "0.21", Quantity(value=0.21, unit="mm")),
        ("result in mm", "0.21", Quantity(value=0.21, unit="mm")),
        ("value;unit", "0.21;mm", Quantity(value=0.21, unit="mm")),
        ("value;unit", "0.21 mm;mm", Quantity(value=0.21, unit="mm")),
        ("value [mm]", "0.21 mm", Quantity(value=0.21, unit="mm")),
    ],
)
def test_a_unit_may_stand_in_the_head_or_in_a_column_of_its_own(show, heads, cells, value):
    shown = show(
        SheetKind.MEASUREMENTS,
        f"head;check;reading;instrument;measured;{heads}\n"
        f"QM-207-L;D-10;{RUNOUT};DG-2;2030-04-03;{cells}\n",
    )

    assert problems_of(shown) == []
    assert shown.rows[0].value.value == value


@pytest.mark.parametrize(
    ("heads", "cells", "what"),
    [
        ("value", "0.21", "the unit is missing, and length is expected"),
        ("value", "0.21 bar", '"bar" is a unit of pressure difference, and length is expected'),
        ("value [bar]", "0.21", '"bar" is a unit of pressure difference, and length is expected'),
        ("value", "0.21 furlong", 'the unit "furlong" is not known'),
        ("value [mm]", "210 µm", "the cell says um, and its column says mm"),
        ("value", "1,234 mm", '"1,234" can be read as 1.234 or as 1234'),
        ("value", "good", '"good" does not begin with a number'),
        ("value", "", "value is missing"),
    ],
)
def test_a_wrong_or_missing_unit_is_refused_with_its_cell(show, heads, cells, what):
    shown = show(
        SheetKind.MEASUREMENTS,
        f"head;check;reading;instrument;{heads};measured\n"
        f"QM-207-L;D-10;{RUNOUT};DG-2;{cells};2030-04-03\n",
    )

    assert problems_of(shown) == [(f'rows.csv, cell E2 (column "{heads}")', what)]


def test_the_check_the_reading_and_the_instrument_must_fit(show):
    shown = show(
        SheetKind.MEASUREMENTS,
        VALUES + f"QM-207-L;D-99;;1 mm;DG-2;2030-04-03\n"
        f"QM-207-L;D-10;;1 mm;DG-2;2030-04-03\n"
        f"QM-207-L;D-10;wobble;1 mm;DG-2;2030-04-03\n"
        f"QM-207-L;D-10;{RUNOUT};0.2 mm;PT-1;2030-04-03\n"
        f"QM-207-L;D-10;{RUNOUT};0.2 mm;XX-1;2030-04-03\n"
        f"QM-207-L;D-10;{RUNOUT};0.2 mm;;2030-04-03\n",
    )

    assert [what for _, what in problems_of(shown)] == [
        "there is no check D-99",
        "D-10 has several readings",
        'D-10 has no reading "wobble"',
        "PT-1 is a pressure transducer",
        'there is no instrument "XX-1"',
        "the instrument is missing",
    ]


def test_what_an_instrument_is_worth_is_told_before_the_import(show):
    row = VALUES + f"QM-207-L;D-10;{RUNOUT};0.2 mm;DG-2;2030-04-03\n"
    expired = known(instruments={"DG-2": dial_gauge(date(2030, 4, 2))})
    outside = row.replace("0.2 mm", "2 mm")

    assert show(SheetKind.MEASUREMENTS, row).rows[0].notices == ()
    assert show(SheetKind.MEASUREMENTS, row, expired).rows[0].notices == (
        "DG-2 on 2030-04-03: indication only: calibration expired",
    )
    assert show(SheetKind.MEASUREMENTS, outside).rows[0].notices == (
        "DG-2 on 2030-04-03: indication only: outside its range",
    )


def test_a_measurement_before_the_part_was_installed_is_refused(show):
    facts = known(
        occupants={("QM-207-L", "RTR"): Occupant(ROTOR, datetime(2030, 4, 3, 10, tzinfo=SHOP_TIME))}
    )

    def problems(moment):
        text = VALUES + f"QM-207-L;D-10;{RUNOUT};0.2 mm;DG-2;{moment}\n"
        return problems_of(show(SheetKind.MEASUREMENTS, text, facts))

    assert problems("2030-04-03 10:00") == []
    assert (
        problems("2030-04-03")
        == problems("2030-04-03 09:59")
        == [
            (
                'rows.csv, cell F2 (column "measured")',
                f"{ROTOR} in RTR was installed later, on 2030-04-03 10:00+01:00",
            )
        ]
    )


def test_yes_no_and_words_are_taken_where_they_are_asked_for(show):
    check = next(c for sheet in sheets() for c in sheet.checks if c.id == "D-01")
    plain = next(c for sheet in sheets() for c in sheet.checks if c.id == "D-02")
    yes, words = check.readings[0].name, plain.readings[1].name
    shown = show(
        SheetKind.MEASUREMENTS,
        VALUES + f"QM-207-U;D-01;{yes};Yes;;2030-04-03\n"
        f"QM-207-L;D-02;{words};bowl heater bracket;;2030-04-03\n"
        f"QM-207-L;D-01;{yes};fine;;2030-04-03\n",
    )
    first, second = shown.rows[0].value, shown.rows[1].value

    assert (first.yes, first.words, first.value) == (True, None, None)
    assert shown.rows[0].notices == (
        "QM-207-U is not in scope: printed as observed, never as passed",
    )
    assert (second.yes, second.words) == (None, "bowl heater bracket")
    assert problems_of(shown) == [
        ('rows.csv, cell D4 (column "value")', '"fine" is neither yes nor no')
    ]


def test_a_workbook_is_previewed_like_a_text_file(tmp_path):
    book = Workbook()
    book.active.title = "Runout"
    book.create_sheet("Notes")["A1"] = "not meant"
    book.active.append(["head", "check", "reading", "value [mm]", "instrument", "measured"])
    book.active.append(["QM-207-L", "D-10", RUNOUT, 0.21, "DG-2", date(2030, 4, 3)])
    book.active.append(["QM-207-L", "D-10", RUNOUT, "low", "DG-2", "03/04/2030"])
    book.save(tmp_path / "book.xlsx")
    path = tmp_path / "book.xlsx"
    shown = preview(path, SheetKind.MEASUREMENTS, known(), sheet="Runout")

    assert shown.rows[0].value.value == Quantity(value=0.21, unit="mm")
    assert shown.sheet == "Runout"
    assert [where for where, _ in problems_of(shown)] == [
        'book.xlsx, sheet "Runout", cell F3 (column "measured")',
        'book.xlsx, sheet "Runout", cell D3 (column "value [mm]")',
    ]
    with pytest.raises(SheetError, match="several sheets hold rows"):
        preview(path, SheetKind.MEASUREMENTS, known())


def test_hostile_files_are_refused_before_any_row_is_shown(show, tmp_path):
    with pytest.raises(SheetError, match="formulas are not taken: B2"):
        show(SheetKind.FINDINGS, FINDINGS + "QM-207-L;=cmd|' /C calc'!A0;safety;2030-04-03;;\n")
    with pytest.raises(SheetError, match="no rows"):
        show(SheetKind.FINDINGS, "")


def test_nothing_is_imported_while_one_row_is_wrong(show):
    stored = []
    shown = show(
        SheetKind.FINDINGS,
        FINDINGS + "QM-207-L;worn;function;2030-04-03;;\nQM-207-L;worn;function;03/04/2030;;\n",
    )
    with pytest.raises(SheetError, match="1 of 2 rows are wrong, so nothing was imported") as told:
        apply(shown, stored.append)

    assert stored == []
    assert told.value.where == 'rows.csv, cell D3 (column "seen")'


def test_an_empty_sheet_is_not_imported(show):
    stored = []
    with pytest.raises(SheetError, match="a head and no rows"):
        apply(show(SheetKind.FINDINGS, FINDINGS), stored.append)

    assert stored == []


def test_rows_are_stored_in_order_and_a_refusal_of_the_ledger_names_its_row(show):
    shown = show(
        SheetKind.FINDINGS,
        FINDINGS + "QM-207-L;worn;function;2030-04-03;;\nQM-207-L;bent;safety;2030-04-03;;\n",
    )
    stored = []

    def refusing(value):
        if value.content.text == "bent":
            raise GateClosedError("the job is closed", where="job QA-1041", mend="Open it.")

    apply(shown, stored.append)

    assert [value.content.text for value in stored] == ["worn", "bent"]
    with pytest.raises(SheetError, match="row 3 was refused, so nothing was imported") as told:
        apply(shown, refusing)
    assert told.value.where == "rows.csv; job QA-1041"
    assert told.value.mend == "Open it."


def test_what_is_on_record_already_is_not_imported_again(show):
    facts = known(findings={("QM-207-L", "worn")}, answered={("QM-207-L", "D-10", RUNOUT)})
    findings = show(SheetKind.FINDINGS, FINDINGS + "QM-207-L;worn;safety;2030-04-03;;\n", facts)
    values = show(
        SheetKind.MEASUREMENTS,
        VALUES + f"QM-207-L;D-10;{RUNOUT};0.2 mm;DG-2;2030-04-03\n",
        facts,
    )

    assert [what for _, what in problems_of(findings)] == ["this finding is on record already"]
    assert [what for _, what in problems_of(values)] == ["it is answered already"]


@pytest.mark.parametrize("kind", SheetKind)
def test_the_heads_of_an_empty_sheet_are_all_found(show, kind):
    assert len(heads_of(kind)) == len(COLUMNS[kind])
    assert show(kind, ";".join(heads_of(kind)) + "\n").rows == ()


@given(cells=st.lists(st.text(max_size=20), min_size=5, max_size=5))
def test_any_text_in_any_cell_gives_a_row_or_a_problem(tmp_path_factory, cells):
    line = ";".join('"' + cell.replace('"', '""') + '"' for cell in cells)
    path = tmp_path_factory.mktemp("any") / "rows.csv"
    path.write_text(PARTS + line + "\n", encoding="utf-8", errors="replace", newline="")
    try:
        shown = preview(path, SheetKind.PARTS, known())
    except SheetError as error:
        assert error.mend  # noqa: PT017 - either outcome is right
    else:
        assert all(row.problems or row.value for row in shown.rows)
