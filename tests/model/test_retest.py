"""The re-test matrix: what a change makes invalid, and where the head goes back to."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.demo_files import DEMO_DATA
from tests.shop_files import matrix, positions, sheets, shop_text

from spinproof.model.check import Checkpoint
from spinproof.model.configuration import Configuration
from spinproof.model.documents import parse_document
from spinproof.model.errors import DocumentError, RecordError
from spinproof.model.part import PositionSet
from spinproof.model.retest import (
    Change,
    ChangeKind,
    CountAfter,
    RetestMatrix,
    changes_between,
    checks_to_repeat,
    earliest_gate,
    require_consistent,
    starts_again,
)

MATRIX, SHEETS, POSITIONS = matrix(), sheets(), positions()
CODES = sorted(POSITIONS.codes)


def part(code: str) -> Change:
    return Change(kind=ChangeKind.PART, name=code)


def setting(name: str) -> Change:
    return Change(kind=ChangeKind.SETTING, name=name)


def configuration(name: str) -> Configuration:
    return parse_document((DEMO_DATA / name).read_text(), Configuration, name)


@pytest.mark.parametrize(
    ("code", "checks", "count"),
    [
        ("RTR", "D-09 D-10 D-11 D-12 D-19 W-15 W-16 W-17 W-18 W-19 W-20 W-24", "from zero"),
        ("BRF", "D-09 D-10 D-11 D-12 D-19 W-15 W-16 W-17 W-18 W-19 W-20 W-24", "from zero"),
        ("BLT", "D-13 D-19 W-15 W-16 W-17 W-19", "from zero"),
        ("AMP", "D-03 D-06 D-13 D-19 W-15 W-16 W-17 W-19 W-22", "from zero"),
        ("TAC", "D-14 D-19 W-15 W-16 W-19 W-20 W-21", "from zero"),
        ("POS", "D-15 W-20 W-21", "from zero"),
        ("DSL", "D-08 D-16 W-04 W-05 W-06 W-21 W-22", "from zero"),
        ("VDI", "W-03 W-07 W-08 W-09 W-23 W-24", "as planned"),
        ("NHT", "D-04 W-10 W-11 W-12 W-24 W-25", "as planned"),
        (
            "CTL",
            "D-07 D-08 D-17 D-18 D-19 W-15 W-16 W-17 W-18 W-19 W-20 W-21 W-22",
            "from zero",
        ),
        ("WIN", "D-20 W-06", "kept"),
    ],
)
def test_each_row_of_the_trade_repeats_its_checks(code: str, checks: str, count: str):
    """Common practice of the trade, no source."""
    retest = checks_to_repeat(MATRIX, [part(code)], SHEETS)

    assert retest.checks == tuple(checks.split())
    assert retest.count == CountAfter(count)


def test_a_valve_of_the_rinse_sends_the_head_back_to_the_wet_test():
    retest = checks_to_repeat(MATRIX, [part("VDI")], SHEETS)

    assert earliest_gate(retest) is Checkpoint.WET_TEST
    assert retest.because == ("rinse valve, spray manifold or water pressure switch",)


def test_a_tach_gap_sends_the_head_back_to_the_dry_test_and_the_count_to_zero():
    before, after = (
        configuration("as-built.configuration.toml"),
        configuration("tach-corrected.configuration.toml"),
    )
    changes = changes_between(before, after, POSITIONS)
    retest = checks_to_repeat(MATRIX, changes, SHEETS)

    assert {change.name for change in changes} == {"tach gap", "tach lock-nut torque"}
    assert retest.checks == ("D-14", "D-19", "W-15", "W-16", "W-19", "W-20", "W-21")
    assert retest.count is CountAfter.FROM_ZERO
    assert earliest_gate(retest) is Checkpoint.DRY_TEST


def test_a_setting_that_no_row_names_counts_as_a_parameter_of_the_controller():
    enable = checks_to_repeat(MATRIX, [setting("index enable speed")], SHEETS)
    controller = checks_to_repeat(MATRIX, [part("CTL")], SHEETS)
    program = checks_to_repeat(MATRIX, [Change(kind=ChangeKind.FIRMWARE, name="4.3")], SHEETS)

    assert enable.checks == controller.checks == program.checks
    assert enable.count is CountAfter.FROM_ZERO


def test_a_row_that_two_changes_share_is_named_once():
    retest = checks_to_repeat(MATRIX, [part("RTR"), part("BRF"), part("BLT")], SHEETS)

    assert retest.because == (
        "rotor, its liners or mass, spindle or main bearing",
        "belt or coupling",
    )


def test_settings_are_matched_without_regard_to_case():
    retest = checks_to_repeat(MATRIX, [setting("Tach Gap")], SHEETS)

    assert "D-14" in retest.checks


def test_a_changed_limit_repeats_its_check_and_starts_the_count_again():
    of_check = checks_to_repeat(MATRIX, [Change(kind=ChangeKind.LIMIT, name="W-17")], SHEETS)
    of_runs = checks_to_repeat(MATRIX, [Change(kind=ChangeKind.LIMIT, name="overshoot")], SHEETS)

    assert of_check.checks == ("W-17",)
    assert of_runs.checks == ()
    assert earliest_gate(of_check) is Checkpoint.WET_TEST
    assert earliest_gate(of_runs) is Checkpoint.FINAL_TEST


@pytest.mark.parametrize("code", ["SUP", "SBR", "SEX", "SDR", "FRM"])
def test_a_shared_module_repeats_every_check_that_uses_it(code: str):
    using = {c.id for sheet in SHEETS for c in sheet.checks if code in c.depends_on}

    assert using
    assert set(checks_to_repeat(MATRIX, [part(code)], SHEETS).checks) == using


def test_no_change_repeats_nothing_and_keeps_the_count():
    retest = checks_to_repeat(MATRIX, [], SHEETS)

    assert (retest.checks, retest.count) == ((), CountAfter.KEPT)
    assert earliest_gate(retest) is None


def test_a_count_as_planned_starts_again_unless_the_plan_keeps_it():
    assert starts_again(CountAfter.AS_PLANNED)
    assert not starts_again(CountAfter.AS_PLANNED, plan_keeps_count=True)
    assert starts_again(CountAfter.FROM_ZERO, plan_keeps_count=True)
    assert not starts_again(CountAfter.KEPT)


def test_a_window_keeps_the_count_but_goes_back_to_the_dry_test():
    retest = checks_to_repeat(MATRIX, [part("WIN")], SHEETS)

    assert earliest_gate(retest) is Checkpoint.DRY_TEST
    assert not starts_again(retest.count)


def test_a_change_that_no_row_covers_is_refused():
    with pytest.raises(RecordError, match='no row says what a change of part "ZZZ"'):
        checks_to_repeat(MATRIX, [part("ZZZ")], SHEETS)


@given(st.lists(st.sampled_from(CODES)), st.lists(st.sampled_from(CODES)))
def test_two_changes_follow_from_each_alone(first: list[str], second: list[str]):
    both = checks_to_repeat(MATRIX, map(part, first + second), SHEETS)
    alone = [checks_to_repeat(MATRIX, map(part, codes), SHEETS) for codes in (first, second)]

    assert set(both.checks) == set(alone[0].checks) | set(alone[1].checks)
    order = list(CountAfter).index
    assert order(both.count) == max(order(retest.count) for retest in alone)
    gates = [g.number for r in alone if (g := earliest_gate(r)) is not None]
    gate = earliest_gate(both)
    assert (gate.number if gate else None) == min(gates, default=None)


def test_every_position_of_head_and_shared_module_has_a_row():
    for code in CODES:
        assert checks_to_repeat(MATRIX, [part(code)], SHEETS).checks


def test_a_check_depends_on_exactly_the_positions_whose_change_repeats_it():
    for sheet in SHEETS:
        for check in sheet.checks:
            repeated = [
                c for c in CODES if check.id in checks_to_repeat(MATRIX, [part(c)], SHEETS).checks
            ]
            assert sorted(check.depends_on) == repeated, check.id


def test_positions_are_compared_by_place_and_named_by_code():
    before = configuration("as-built.configuration.toml")
    parts = {**before.parts, "rinse valve": "QM207L-SOL05"}
    renamed = {("VDI" if place == "rinse valve" else place): tag for place, tag in parts.items()}
    after = before.model_copy(update={"parts": renamed, "firmware": "controller program 4.3"})

    assert changes_between(before, after, POSITIONS) == (
        part("VDI"),
        Change(kind=ChangeKind.FIRMWARE, name="controller program 4.3"),
    )
    assert changes_between(before, before, POSITIONS) == ()


def test_a_part_that_is_taken_out_or_added_is_a_change():
    before = configuration("as-built.configuration.toml")
    fewer = {place: tag for place, tag in before.parts.items() if place != "belt"}
    after = before.model_copy(update={"parts": fewer})

    assert changes_between(before, after, POSITIONS) == (part("BLT"),)
    assert changes_between(after, before, POSITIONS) == (part("BLT"),)


def test_a_configuration_with_an_unknown_position_is_refused():
    before = configuration("as-built.configuration.toml")
    after = before.model_copy(update={"parts": {**before.parts, "spoiler": "X"}})

    with pytest.raises(RecordError, match='no position "spoiler"'):
        changes_between(before, after, POSITIONS)


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ('positions = ["BLT"]', 'positions = ["RTR"]', "two rows name the same position: RTR"),
        ('["belt tension"]', '["Tach gap"]', "two rows name the same setting: tach gap"),
        ('kinds = ["limit"]', 'kinds = ["limit", "firmware"]', "same kind of change: firmware"),
        ('kinds = ["limit"]', "", "a row needs positions, settings or kinds"),
        ("dependents = true", "", "lists its checks, or takes all dependents"),
        ('count = "kept"', 'count = "halved"', "count is 'halved'"),
        ('checks = ["D-20", "W-06"]', 'checks = ["D20"]', "checks[1] is 'D20'"),
    ],
)
def test_a_matrix_that_contradicts_itself_is_refused(before, after, words):
    text = shop_text("retest-matrix.toml")
    assert before in text

    with pytest.raises(DocumentError) as caught:
        parse_document(text.replace(before, after, 1), RetestMatrix, "matrix.toml")
    assert words in caught.value.what


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ('checks = ["D-20", "W-06"]', 'checks = ["D-20", "W-06", "W-99"]', "names W-99, which"),
        ('positions = ["WIN"]', 'positions = ["WIN", "ZZZ"]', "names ZZZ, which does not exist"),
        ('positions = ["WIN"]', 'settings = ["view"]', "no row covers position WIN"),
        ('checks = ["D-20", "W-06"]', 'checks = ["D-20"]', "W-06 does depend on WIN"),
        ('checks = ["W-25"]', 'checks = ["W-24", "W-25"]', "W-24 does not depend on ION"),
    ],
)
def test_rules_that_do_not_fit_one_another_are_refused(before, after, words):
    text = shop_text("retest-matrix.toml")
    assert before in text
    bent = parse_document(text.replace(before, after, 1), RetestMatrix, "matrix.toml")

    with pytest.raises(DocumentError) as caught:
        require_consistent(POSITIONS, SHEETS, bent)
    assert words in caught.value.what


def test_positions_without_a_row_are_refused():
    text = shop_text("positions.toml").replace('code = "FRM"', 'code = "FRX"')
    other = parse_document(text, PositionSet, "positions.toml")

    with pytest.raises(DocumentError, match="no row covers position FRX"):
        require_consistent(other, SHEETS, MATRIX)
