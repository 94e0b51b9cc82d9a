"""Loads of a plan on heads with one cassette on the axis, or several around it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.demo_files import CASSETTES_LOAD, CR_1, LOWER, OFF_AXIS, PARTIAL_LOAD

from spinproof.model.errors import PlanError
from spinproof.model.load import Load
from spinproof.physics.load_balance import balance_of, dummies_needed, facing_cassettes
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.plan.loads import load_for, load_problem, place_load, unbalance_note
from spinproof.plan.planning import make_plan
from spinproof.plan.slots import Standing

WAFERS = Load(name="like", slots=(1,), wafer_mass_g=27.7809)
CR_2 = CR_1.model_copy(
    update={
        "name": "CR-2",
        "steps": tuple(
            step.model_copy(update={"speed_rpm": rpm, "duration_s": seconds})
            for step, rpm, seconds in zip(
                CR_1.steps, (250.0, 250.0, 1150.0, 700.0), (60.0, 20.0, 150.0, 240.0), strict=True
            )
        ),
    }
)
ODD = CASSETTES_LOAD.model_copy(update={"name": "25 and 24", "dummy_slots": ()})


def cassettes(count: int, slots: int = 25):
    return OFF_AXIS.model_copy(update={"cassettes": count, "slots": slots * count})


def test_a_missing_wafer_off_the_axis_is_refused_with_the_dummy_that_mends_it():
    """4167 g mm beside 1124.7 g mm at 1150 rpm, 3.70 times; ISO 21940-11, G 6.3, 21.5 kg."""
    said = load_problem(ODD, OFF_AXIS, 1150)

    assert said is not None
    assert "4167 g mm, 3.70 times what is permissible at 1150 rpm" in said
    assert "a dummy in slot 50 balances it" in said
    found = balance_of(ODD, OFF_AXIS, 1150 * RAD_PER_S_PER_RPM)
    assert 1e6 * found.permitted == pytest.approx(1124.7, abs=0.05)
    assert found.force == pytest.approx(60.4, abs=0.05)


def test_one_dummy_lets_it_start():
    assert dummies_needed(ODD, OFF_AXIS) == (50,)
    assert CASSETTES_LOAD.dummy_slots == (50,)
    assert load_problem(CASSETTES_LOAD, OFF_AXIS, 1150) is None
    assert balance_of(CASSETTES_LOAD, OFF_AXIS, 120.0).share < 1e-9
    assert CASSETTES_LOAD.wafer_count == 49


def test_equal_cassettes_with_other_slots_are_balanced_but_for_the_couple():
    high = Load(name="x", slots=(*range(1, 6), *range(46, 51)), wafer_mass_g=27.7809)
    found = balance_of(high, OFF_AXIS, 1150 * RAD_PER_S_PER_RPM)

    assert abs(found.static) < 1e-12
    # 5 wafers each, 20 slots of 4.76 mm apart, over planes 180 mm apart
    assert 1e6 * abs(found.planes[0]) == pytest.approx(
        5 * 27.7809 * 150 * 20 * 4.76 / 180, rel=1e-6
    )
    assert "twice its worse plane" in load_problem(high, OFF_AXIS, 1150)
    assert "load the same slots" in load_problem(high, OFF_AXIS, 1150)


@given(count=st.integers(0, 100), number=st.sampled_from([1, 2, 3, 4, 5, 6, 7, 8]))
def test_every_count_on_every_head_is_balanced_or_does_not_fit(count: int, number: int):
    head = cassettes(number, slots=12)
    try:
        load = load_for(count, head, WAFERS)
    except PlanError:
        load = None
    size = len((facing_cassettes(head) or ((0,),))[0])
    room = count + -count % size <= head.slots

    assert (load is not None) == room
    if load is not None:
        assert load.wafer_count == count
        assert len(load.dummy_slots) == -count % size
        assert max(load.filled_slots, default=0) <= head.slots
        if number > 1:
            assert balance_of(load, head, 100.0).share < 1e-9
            assert dummies_needed(load, head) == ()


def test_a_load_on_the_axis_needs_no_dummy_and_is_only_noted():
    full = load_for(25, LOWER, PARTIAL_LOAD)

    assert (full.dummy_slots, dummies_needed(full, LOWER)) == ((), ())
    assert load_problem(full, LOWER, 2000) is None


def test_slots_beyond_the_head_are_refused_at_the_edge_of_the_plan():
    beyond = Load(name="x", slots=(26,), wafer_mass_g=50.0)

    with pytest.raises(PlanError, match="more than the head's 25 slots"):
        load_problem(beyond, LOWER, 1000)
    with pytest.raises(PlanError, match="more than the head's 25 slots"):
        unbalance_note(CR_1, beyond, LOWER)
    with pytest.raises(PlanError, match="do not fit 25 slots"):
        load_for(26, LOWER, PARTIAL_LOAD)


def test_an_odd_wafer_off_the_axis_is_answered_with_the_dummy_it_needs():
    placed = place_load(load_for(5, OFF_AXIS, WAFERS), OFF_AXIS, 1150)

    assert placed.dummies == len(placed.load.dummy_slots) == 1
    assert placed.load.wafer_count == 5
    assert placed.placement.standing is Standing.OPTIMAL
    assert load_problem(placed.load, OFF_AXIS, 1150) is None


def test_equal_wafers_keep_the_pattern_that_is_easy_to_load():
    head = LOWER.model_copy(update={"slot_pitch_mm": 6.35, "plane_distance_mm": 200.0})
    placed = place_load(PARTIAL_LOAD, head, 1750)

    assert placed.load.slots == tuple(range(1, 26, 2))
    assert placed.placement.standing is Standing.OPTIMAL


def test_weighed_wafers_go_where_they_balance_best():
    weighed = Load(
        name="w", slots=(1, 2, 26, 27), wafer_mass_g=27.8, weighed_g=(27.0, 28.6, 28.5, 27.1)
    )
    head = OFF_AXIS
    placed = place_load(weighed, head, 1150)
    before = balance_of(weighed, head, 1150 * RAD_PER_S_PER_RPM)
    after = balance_of(placed.load, head, 1150 * RAD_PER_S_PER_RPM)

    assert placed.load.weighed_g == weighed.weighed_g
    assert after.share <= before.share
    assert abs(after.static) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("lacking", ["slot_pitch_mm", "plane_distance_mm"])
def test_slots_cannot_be_chosen_without_pitch_and_planes(lacking):
    with pytest.raises(PlanError, match="couple of a load cannot be told"):
        place_load(WAFERS, OFF_AXIS.model_copy(update={lacking: None}), 1150)


def test_a_head_with_cassettes_around_the_axis_can_be_planned():
    load = load_for(50, OFF_AXIS, WAFERS)
    plan = make_plan("B", OFF_AXIS, (CR_2,), 2, 4, 12, seed=1, customer_load=load)

    for run in plan.runs:
        assert run.note is None
        assert load_problem(run.load, OFF_AXIS, run.recipe.top_speed_rpm) is None
    assert {run.load.wafer_count for run in plan.runs} == {0, 13, 26, 50}


def test_a_customers_load_that_would_not_start_is_not_planned():
    with pytest.raises(PlanError, match=r"3\.70 times what is permissible"):
        make_plan("B", OFF_AXIS, (CR_2,), 2, 4, 12, seed=1, customer_load=ODD)
