"""The shop's rules as they ship: complete, consistent, and with numbers that can be worked out."""

import json
import tomllib

import jsonschema
import pytest
from tests.shop_files import SHOP_DATA, matrix, positions, sheets, shop_text

from spinproof.app.documents import schema_text
from spinproof.model.check import Answer, Checkpoint
from spinproof.model.instrument import InstrumentKind
from spinproof.model.limit import Basis
from spinproof.model.retest import require_consistent

KIND_OF = {"positions.toml": "positions", "retest-matrix.toml": "retest-matrix"}
DRY, WET, SOURCE = sheets()


def task(check_id: str) -> str:
    sheet = next(sheet for sheet in (DRY, WET, SOURCE) if sheet.checks[0].id[0] == check_id[0])
    return sheet.check(check_id).task


@pytest.mark.parametrize(
    ("sheet", "checkpoint", "letter", "number"),
    [
        (DRY, Checkpoint.DRY_TEST, "D", 20),
        (WET, Checkpoint.WET_TEST, "W", 25),
        (SOURCE, Checkpoint.SOURCE_INSPECTION, "S", 10),
    ],
)
def test_each_sheet_is_complete_and_in_order(sheet, checkpoint, letter, number):
    assert sheet.checkpoint is checkpoint
    assert [c.id for c in sheet.checks] == [f"{letter}-{n:02d}" for n in range(1, number + 1)]


def test_positions_checks_and_matrix_fit_one_another():
    require_consistent(positions(), sheets(), matrix())


@pytest.mark.parametrize("path", sorted(SHOP_DATA.glob("*.toml")), ids=lambda path: path.name)
def test_the_files_follow_their_published_schemas(path):
    schema = json.loads(schema_text(KIND_OF.get(path.name, "checks")))

    jsonschema.Draft202012Validator(schema).validate(tomllib.loads(path.read_text()))


def test_every_position_has_what_an_inspector_needs():
    for position in positions().positions:
        assert position.failure_modes
        for criterion in position.criteria:
            if criterion.basis is Basis.COMMON_PRACTICE:
                assert criterion.source == "common practice, no source", position.code


def test_the_kit_of_an_opened_head_is_always_replaced():
    """Bearings, seals, belt, filter, soft tube and door switch; common practice, no source."""
    kit = {p.code for p in positions().positions if p.always_replace}

    assert kit == {"BRF", "BRR", "SSL", "DSL", "BLT", "NFI", "TUB", "DSW"}


def test_no_check_rests_on_the_machine_s_own_display():
    used = {k for s in sheets() for c in s.checks for r in c.readings for k in r.instruments}

    assert InstrumentKind.MACHINE_DISPLAY not in used


def test_every_quantity_may_be_written_in_its_unit_and_names_its_instruments():
    for sheet in sheets():
        for check in sheet.checks:
            for reading in check.readings:
                is_number = reading.answer is Answer.QUANTITY
                assert is_number == (reading.dimension is not None) == bool(reading.instruments)


def test_resistance_of_a_heater_from_its_plate():
    """V²/P at 208 V, to four figures."""
    for watts in (600, 250):
        assert f"{208**2 / watts:.4g} Ω" in task("D-04")


def test_frequency_of_a_belt_span():
    """T = 4 m L² f² for a string fixed at both ends."""
    frequency = (120 / (4 * 0.060)) ** 0.5 / 0.28

    assert f"{frequency:.2f} Hz" in task("D-13")


def test_leak_that_uses_up_the_tolerance_of_the_seal():
    """5 % of 200 kPa (gauge) in 0.35 L and 60 s, as a flow at 101.325 kPa."""
    flow = 0.05 * 200 * 350 / 101.325

    assert f"{flow:.1f} mL/min" in task("W-04")


def test_a_drift_of_one_kelvin_looks_like_a_tenth_of_the_tolerance():
    """p/T at 200 kPa (gauge) and room temperature."""
    pressure_per_kelvin = (200 + 101.325) / 293.15

    assert f"{pressure_per_kelvin:.1f} kPa" in task("W-04")
    assert pressure_per_kelvin / (0.05 * 200) == pytest.approx(0.1, abs=0.005)


def test_mass_of_a_film_on_thirteen_wafers():
    """Both sides of 13 wafers of 200 mm; water of 1 g/cm³."""
    area_cm2 = 13 * 2 * 3.141592653589793 * 10**2

    assert f"{0.01 / area_cm2 * 1e7:.2f} nm" in task("W-24")
    assert f"{area_cm2 * 1e-4:.3f} g" in task("W-24")


def test_up_to_300_rpm_the_five_rpm_are_the_larger_tolerance():
    assert (
        max(0.01 * 300, 5.0)
        == DRY.check("D-19").reading("largest difference from the optical tach").upper
    )


def test_the_files_say_that_practice_without_a_source_is_just_that():
    for path in SHOP_DATA.glob("*.toml"):
        assert path.read_text().count('basis = "common-practice"') <= path.read_text().count(
            "common practice, no source"
        )
    assert "shop default" in shop_text("wet-test.checks.toml").splitlines()[0]
