"""Sheets go into the ledger whole, or not at all."""

from datetime import UTC, date, datetime

import pytest
from tests.demo_files import JOB

from spinproof.app.home import open_home
from spinproof.app.intake import open_shop_ledger
from spinproof.app.sheet_columns import SheetKind
from spinproof.app.sheet_import import import_sheet, preview_sheet
from spinproof.app.shop import shop_rules
from spinproof.ledger.shop_entries import Deed
from spinproof.model.check import Energy
from spinproof.model.errors import GateClosedError, SheetError
from spinproof.model.instrument import (
    Calibration,
    InstrumentKind,
    InstrumentRecord,
    MeasuringRange,
)
from spinproof.model.job import Process
from spinproof.model.matter import Lockout, MatterKind
from spinproof.model.part import Provenance
from spinproof.model.tag import tag_of

OPENED = datetime(2020, 1, 5, 8, tzinfo=UTC)
ROTOR, SPINDLE, SEAL = (tag_of(f"QM207L{code}01") for code in ("RTR", "SPI", "DSL"))
PARTS = "tag;head;position;provenance;installed;serial\n"
FINDINGS = "head;finding;severity;seen;position;tag\n"
VALUES = "head;check;reading;value;instrument;measured;conditions\n"
GAUGE = InstrumentRecord(
    id="DG-2",
    kind=InstrumentKind.DIAL_GAUGE,
    words="dial gauge",
    ranges=(MeasuringRange(unit="mm", low=0, high=1, resolution=0.01, standard_uncertainty=0.004),),
    calibrations=(Calibration(at=date(2020, 1, 1), due=date(2020, 12, 31), certificate="C-1"),),
)


@pytest.fixture
def ledger(tmp_path):
    opened = open_shop_ledger(open_home(tmp_path / "home"))
    job = JOB.model_copy(update={"process": Process.FULL})
    with opened.transaction("RT-1", OPENED) as records:
        records.add_job(job, shop_rules())
        records.add_instrument(GAUGE)
        locked = Lockout(where="bowl", locked=tuple(Energy), verification="0 V, gauges at 0 bar")
        records.open_matter("QA-1041", locked, Deed("teardown", done_at=OPENED), unit="QM-207-L")
    yield opened
    opened.close()


@pytest.fixture
def sheet(tmp_path):
    def written(text):
        path = tmp_path / "rows.csv"
        path.write_text(text, encoding="utf-8")
        return path

    return written


def bring_in(ledger, path, kind):
    return import_sheet(ledger, "QA-1041", path, kind, by="RT-1", zone=UTC)


def test_parts_come_in_as_found_or_fitted(ledger, sheet):
    text = (
        PARTS + f"{ROTOR};QM-207-L;rotor;kept;2020-02-01;A-1\n"
        f"{SPINDLE};QM-207-L;SPI;cleaned;2020-02-01 10:00;\n"
    )
    shown = preview_sheet(ledger, "QA-1041", sheet(text), SheetKind.PARTS, zone=UTC)
    with ledger.reading() as reading:
        assert reading.parts("QA-1041") == ()

    bring_in(ledger, sheet(text), SheetKind.PARTS)

    assert shown.is_ready
    with ledger.reading() as reading:
        rotor, spindle = reading.parts("QA-1041")
    assert (rotor.tag, rotor.serial, rotor.now.provenance) == (ROTOR, "A-1", Provenance.KEPT)
    assert (spindle.tag, spindle.now.position, spindle.now.provenance) == (
        SPINDLE,
        "SPI",
        Provenance.CLEANED,
    )
    assert spindle.now.done_at == "2020-02-01T10:00:00.000Z"


def test_the_same_sheet_a_second_time_is_refused_row_by_row(ledger, sheet):
    parts = sheet(PARTS + f"{ROTOR};QM-207-L;rotor;kept;2020-02-01;\n")
    bring_in(ledger, parts, SheetKind.PARTS)
    shown = preview_sheet(ledger, "QA-1041", parts, SheetKind.PARTS, zone=UTC)
    with pytest.raises(SheetError, match="nothing was imported"):
        bring_in(ledger, parts, SheetKind.PARTS)

    assert [problem.what for problem in shown.rows[0].problems] == [
        "the tag exists: rotor, in RTR of QM-207-L",
        f"rotor holds {ROTOR}",
    ]
    with ledger.reading() as reading:
        assert len(reading.parts("QA-1041")) == 1


def test_findings_are_opened_and_not_twice(ledger, sheet):
    bring_in(ledger, sheet(PARTS + f"{SEAL};QM-207-L;DSL;kept;2020-02-01;\n"), SheetKind.PARTS)
    findings = sheet(FINDINGS + f"QM-207-L;nick in the lip;function;2020-02-02;DSL;{SEAL}\n")
    bring_in(ledger, findings, SheetKind.FINDINGS)
    with pytest.raises(SheetError, match="this finding is on record already"):
        bring_in(ledger, findings, SheetKind.FINDINGS)

    with ledger.reading() as reading:
        (finding,) = reading.matters("QA-1041", MatterKind.FINDING)
    assert (finding.unit, finding.content.text) == ("QM-207-L", "nick in the lip")
    assert (finding.content.tag, finding.content.position) == (SEAL, "DSL")


def test_a_wrong_row_leaves_the_ledger_as_it_was(ledger, sheet):
    text = FINDINGS + "QM-207-L;worn;function;2020-02-02;;\nQM-207-L;bent;function;02/03/2020;;\n"
    before = entries(ledger)
    with pytest.raises(SheetError, match="1 of 2 rows are wrong"):
        bring_in(ledger, sheet(text), SheetKind.FINDINGS)

    assert entries(ledger) == before


def entries(ledger):
    with ledger.reading() as reading:
        return reading.audit()


def test_a_refusal_of_the_ledger_undoes_the_rows_before_it(ledger, sheet):
    """Out of scope, D-10 is only observed; in scope, the checkpoints before it are not passed."""
    text = (
        VALUES + "QM-207-U;D-10;rim, axial;0.10 mm;DG-2;2020-02-02 10:00;21 °C\n"
        "QM-207-L;D-10;rim, axial;0.10 mm;DG-2;2020-02-02 10:00;21 °C\n"
    )
    before = entries(ledger)
    shown = preview_sheet(ledger, "QA-1041", sheet(text), SheetKind.MEASUREMENTS, zone=UTC)
    with pytest.raises(SheetError, match="row 3 was refused, so nothing was imported") as told:
        bring_in(ledger, sheet(text), SheetKind.MEASUREMENTS)

    assert shown.is_ready
    assert told.value.where.startswith("rows.csv; QM-207-L, D-10")
    assert entries(ledger) == before


def test_measurements_are_answers_with_their_instrument(ledger, sheet):
    text = VALUES + "QM-207-U;D-10;rim, axial;100 µm;DG-2;2020-02-02 10:00;21 °C\n"
    bring_in(ledger, sheet(text), SheetKind.MEASUREMENTS)
    with pytest.raises(SheetError, match="it is answered already"):
        bring_in(ledger, sheet(text), SheetKind.MEASUREMENTS)

    with ledger.reading() as reading:
        (answer,) = reading.measurements("QM-207-U", "D-10")
    assert (answer.value, answer.symbol, answer.instrument) == (100, "um", "DG-2")
    assert (answer.conditions, answer.done_at) == ("21 °C", "2020-02-02T10:00:00.000Z")


def test_a_job_of_burn_in_only_has_nothing_to_import(tmp_path, sheet):
    opened = open_shop_ledger(open_home(tmp_path / "other"))
    with opened.transaction("RT-1", OPENED) as records:
        records.add_job(JOB)

    with pytest.raises(GateClosedError, match="burn-in only"):
        preview_sheet(opened, "QA-1041", sheet(PARTS), SheetKind.PARTS, zone=UTC)
    opened.close()
