"""Check templates: what they may say, and which check comes next."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.shop_files import SHEET_FILES, sheets, shop_text

from spinproof.model.check import (
    Answer,
    Checkpoint,
    CheckSheet,
    Energy,
    LimitFrom,
    Rotation,
    admissible,
    missing_before,
)
from spinproof.model.documents import parse_document
from spinproof.model.errors import DocumentError, RecordError
from spinproof.model.limit import Basis, DecisionRule
from spinproof.model.quantity import Dimension

DRY, WET, SOURCE = sheets()
BASE = """
name = "bench sheet"
checkpoint = "dry test"
conditions = "None."

[[checks]]
id = "D-01"
title = "Runout"
task = "Turn and read."
rotation = "by hand"
lockout = true

[[checks.readings]]
name = "rim"
answer = "quantity"
unit = "mm"
upper = 0.25
basis = "common-practice"
source = "common practice, no source"
instruments = ["dial gauge"]

[[checks]]
id = "D-02"
title = "Look"
task = "Look."
after = ["D-01"]

[[checks.readings]]
name = "clean"
answer = "yes or no"
acceptance = "Nothing to see."
basis = "shop-rule"
source = "shop rule"

[[checks.readings]]
name = "note"
answer = "text"
limit_from = "record"
"""


def refusal(text: str) -> DocumentError:
    with pytest.raises(DocumentError) as caught:
        parse_document(text, CheckSheet, "bench.checks.toml")
    return caught.value


def test_a_reading_gives_its_limit_with_rule_basis_and_source():
    sheet = parse_document(BASE, CheckSheet, "bench.checks.toml")
    reading = sheet.check("D-01").reading("rim")

    assert reading.dimension is Dimension.LENGTH
    assert reading.limit is not None
    assert (reading.limit.upper, reading.limit.unit) == (0.25, "mm")
    assert reading.limit.rule is DecisionRule.GUARDED
    assert reading.limit.basis is Basis.COMMON_PRACTICE
    assert sheet.check("D-02").reading("note").limit is None


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ('unit = "mm"\n', "", "a quantity needs a unit"),
        ('unit = "mm"', 'unit = "furlong"', 'unit "furlong" is not one of'),
        ('instruments = ["dial gauge"]', "", "needs the kinds of instrument"),
        ('["dial gauge"]', '["ruler"]', "instruments[1] is 'ruler'"),
        ("upper = 0.25", "", "lower or upper belong to a quantity"),
        ("upper = 0.25", "upper = 0.25\nlower = 0.3", "lower (0.3) lies above upper (0.25)"),
        ("upper = 0.25", 'upper = 0.25\nlimit_from = "agreed"', "lower or upper belong"),
        ('basis = "common-practice"\n', "", "basis and source belong together"),
        ('acceptance = "Nothing to see."\n', "", "acceptance must say what conforms"),
        ('basis = "shop-rule"\nsource = "shop rule"', "", "needs a basis and a source"),
        ('answer = "text"\nlimit_from = "record"', 'answer = "text"', "basis and a source"),
        (
            'answer = "text"\nlimit_from = "record"',
            'answer = "text"\nacceptance = "good"\nbasis = "shop-rule"\nsource = "x"',
            "words never decide",
        ),
        ('name = "note"', 'name = "clean"', "two readings share the name clean"),
        ('rotation = "by hand"', 'rotation = "full"', "a driven rotor is an energy"),
        ('rotation = "by hand"', 'energies = ["rotor motion"]', "a driven rotor is an energy"),
        (
            'rotation = "by hand"',
            'rotation = "full"\nenergies = ["rotor motion"]\ncaution = "Stand clear."',
            "no rotor is driven under lockout",
        ),
        ('rotation = "by hand"', "top_speed_rpm = 60.0", "belongs to a slow spin"),
        ('rotation = "by hand"', 'energies = ["nitrogen"]', "needs a caution"),
        ('after = ["D-01"]', 'after = ["D-02"]', "cannot come after itself"),
        ('after = ["D-01"]', 'after = ["D-09"]', "comes after D-09, which the sheet"),
        (
            "lockout = true\n",
            'lockout = true\nafter = ["D-02"]\n',
            "D-01, D-02 wait for one another",
        ),
        (
            'id = "D-02"\ntitle = "Look"\ntask = "Look."\nafter = ["D-01"]',
            'id = "D-01"\ntitle = "Look"\ntask = "Look."',
            "two checks share the id D-01",
        ),
        ('id = "D-02"', 'id = "W-02"', "W-02 is not a check of the dry test"),
        ('id = "D-02"', 'id = "X-02"', "checks[2].id is 'X-02'"),
        ('checkpoint = "dry test"', 'checkpoint = "build"', "D-01 is not a check of the build"),
        ('title = "Look"', 'title = "Look"\ncolour = 1', "checks[2].colour is not a known key"),
    ],
)
def test_a_sheet_that_contradicts_itself_is_refused_with_its_reason(before, after, words):
    assert words in refusal(BASE.replace(before, after, 1)).what


def test_a_wrong_reading_is_named_by_its_own_line():
    error = refusal(BASE.replace('answer = "text"', 'answer = "prose"'))

    assert "checks[2].readings[2].answer is 'prose'" in error.what
    line = BASE.splitlines().index('answer = "text"') + 1
    assert error.where == f"bench.checks.toml, line {line}"


def test_unknown_checks_and_readings_are_refused_with_the_known_ones():
    with pytest.raises(RecordError, match="no check W-99"):
        WET.check("W-99")
    with pytest.raises(RecordError, match="slowest time below 5 kPa"):
        WET.check("W-05").reading("vent")


def test_checkpoints_have_an_order_and_checks_name_theirs():
    assert [point.number for point in Checkpoint] == list(range(1, 10))
    assert Checkpoint.DRY_TEST.number < Checkpoint.WET_TEST.number < Checkpoint.FINAL_TEST.number
    assert WET.check("W-01").checkpoint is Checkpoint.WET_TEST


def test_the_wet_test_opens_with_identity_services_and_seal_and_offers_one_check_at_a_time():
    passed: list[str] = []
    for expected in ("W-01", "W-02", "W-03", "W-04", "W-05", "W-21", "W-17", "W-18"):
        assert [check.id for check in admissible(WET, passed)] == [expected]
        passed.append(expected)

    assert {check.id for check in admissible(WET, passed)} == {"W-15", "W-16", "W-19", "W-20"}


def test_water_comes_before_heat_heat_before_power_loss_and_loads_at_the_end():
    def all_before(check_id: str) -> set[str]:
        direct = set(WET.check(check_id).after)
        return direct.union(*(all_before(other) for other in direct))

    assert {"W-06", "W-08"} <= all_before("W-13")
    assert {"W-10", "W-11"} <= all_before("W-12")
    assert {"W-12", "W-13"} <= all_before("W-22")
    assert "W-22" in all_before("W-24")
    assert all_before("W-25") == {check.id for check in WET.checks} - {"W-25"}


def test_nothing_is_energised_before_clearance_bonding_and_insulation():
    electric = [check for check in DRY.checks if Energy.ELECTRICAL in check.energies]

    assert electric
    for check in electric:
        assert check.id == "D-06" or "D-06" in check.after or "D-07" in check.after
    assert {"D-01", "D-02", "D-03", "D-05"} <= set(DRY.check("D-06").after)


def test_no_driven_spin_comes_before_the_door_switch_and_the_emergency_stop():
    driven = [check for check in DRY.checks if check.is_driven]

    assert [check.id for check in driven] == ["D-19"]
    assert {"D-07", "D-08"} <= set(driven[0].after)


@given(st.sets(st.sampled_from([check.id for check in WET.checks])))
def test_what_is_offered_is_open_and_misses_nothing(passed: set[str]):
    offered = admissible(WET, passed)

    for check in WET.checks:
        open_and_ready = check.id not in passed and not missing_before(check, passed)
        assert (check in offered) == open_and_ready


def test_missing_checks_are_named_in_the_template_s_order():
    assert missing_before(WET.check("W-24"), {"W-22"}) == ("W-09", "W-14", "W-16", "W-23")


@pytest.mark.parametrize("name", SHEET_FILES)
def test_each_sheet_survives_a_round_trip(name: str):
    sheet = parse_document(shop_text(f"{name}.checks.toml"), CheckSheet, name)

    assert CheckSheet.from_document(sheet.to_document()) == sheet


@pytest.mark.parametrize("sheet", [DRY, WET, SOURCE], ids=lambda sheet: sheet.name)
def test_everything_that_decides_has_a_basis_and_practice_is_marked_as_such(sheet: CheckSheet):
    for check in sheet.checks:
        for reading in check.readings:
            if reading.limit_from is not LimitFrom.RECORD:
                assert reading.basis is not None, f"{check.id} {reading.name}"
            if reading.basis is Basis.COMMON_PRACTICE:
                assert "common practice, no source" in (reading.source or ""), check.id
            if reading.basis is Basis.STANDARD:
                assert any(word in (reading.source or "") for word in STANDARDS), reading.source


STANDARDS = ("IEC", "ISO", "ASTM", "SEMI", "CFR")


@pytest.mark.parametrize("sheet", [DRY, WET, SOURCE], ids=lambda sheet: sheet.name)
def test_every_spin_and_every_energy_comes_with_a_caution(sheet: CheckSheet):
    for check in sheet.checks:
        if check.energies or check.lockout or check.rotation is not Rotation.NONE:
            assert check.caution, check.id
        if Energy.NITROGEN in check.energies:
            assert "displaces oxygen" in (check.caution or ""), check.id
        if check.is_driven:
            assert "nobody" in (check.caution or "").lower(), check.id


def test_no_text_says_that_the_door_is_safe():
    for name in SHEET_FILES:
        text = shop_text(f"{name}.checks.toml").lower()
        for sentence in text.split("."):
            if "safe to open" in sentence:
                assert "never" in sentence or "nobody says" in sentence


def test_counts_are_judged_plainly_and_quantities_by_guard():
    for sheet in (DRY, WET, SOURCE):
        for check in sheet.checks:
            for reading in check.readings:
                if reading.answer is Answer.QUANTITY and reading.limit is not None:
                    plain = reading.dimension is Dimension.COUNT
                    assert (reading.rule is DecisionRule.SIMPLE) == plain, reading.name
