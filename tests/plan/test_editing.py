"""Edits of a plan: each makes a new plan that says what was changed."""

import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD

from spinproof.app.planning import (
    export_tables,
    forbid_region,
    forbid_run,
    measure_plan,
    move_run,
    pin_run,
    read_plan,
    replan,
    write_plan,
)
from spinproof.files.canonical import canonical_json, digest_of
from spinproof.model.errors import PlanError
from spinproof.model.plan import Asked, Ban, Bound, Cell, Plan
from spinproof.plan.planning import compose

ASKED = Asked(
    customer=(CR_1,),
    customer_load=PARTIAL_LOAD,
    customer_runs=3,
    corner_runs=2,
    ladder_runs=3,
    total_runs=24,
)
PLAN = compose("burn-in", LOWER, ASKED, 1041)
BYTES = canonical_json(PLAN.to_document())
FILLS = [run.number for run in PLAN.runs if run.cell is Cell.FILL]
FAST = Ban(name="the critical speed", bounds=(Bound(factor="fast_dry_rpm", low=1550, high=1650),))


def changed(plan: Plan) -> list[int]:
    """Give the places whose recipe or load is another than in the first plan."""
    return [
        new.number
        for old, new in zip(PLAN.runs, plan.runs, strict=True)
        if (old.recipe, old.load) != (new.recipe, new.load)
    ]


def test_a_plan_is_never_changed_by_an_edit_and_the_new_one_names_it():
    for edited in (
        pin_run(PLAN, 7),
        move_run(PLAN, LOWER, 7, 9),
        forbid_run(PLAN, LOWER, FILLS[0]),
        forbid_region(PLAN, LOWER, FAST),
        replan(PLAN, LOWER),
    ):
        assert canonical_json(PLAN.to_document()) == BYTES
        assert len(edited.edits) == 1
        assert edited.derived_from == digest_of(PLAN.to_document())
        assert [run.number for run in edited.runs] == list(range(1, 25))
    assert (PLAN.edits, PLAN.derived_from) == ((), None)


def test_edits_add_up_and_each_names_the_plan_before():
    once = pin_run(PLAN, FILLS[0])
    twice = pin_run(once, FILLS[0], pinned=False)

    assert twice.edits == (
        *once.edits,
        f"Let go of run {FILLS[0]}, {PLAN.runs[FILLS[0] - 1].recipe.name}.",
    )
    assert twice.derived_from == digest_of(once.to_document())
    assert not any(run.pinned for run in twice.runs)


def test_a_run_is_moved_and_the_others_keep_their_order():
    moved = move_run(PLAN, LOWER, 20, 5)
    names = [run.recipe.name for run in PLAN.runs]
    names.insert(4, names.pop(19))

    assert [run.recipe.name for run in moved.runs] == names
    assert "from place 20 to place 5" in moved.edits[0]
    assert measure_plan(moved, LOWER).energy == pytest.approx(measure_plan(PLAN, LOWER).energy)


def test_a_forbidden_run_is_replaced_in_its_place_by_another_far_from_it():
    number = FILLS[3]
    edited = forbid_run(PLAN, LOWER, number)

    assert changed(edited) == [number]
    assert edited.asked.bans[0].name == f"the like of {PLAN.runs[number - 1].recipe.name}"
    assert edited.runs[number - 1].cell is Cell.FILL
    assert len({run.recipe.steps for run in edited.runs if run.cell is Cell.FILL}) == len(FILLS)


def test_no_run_is_left_in_a_forbidden_part_of_the_envelope():
    inside = {run.number for run in PLAN.runs if 1550 <= run.recipe.steps[2].speed_rpm <= 1650}
    edited = forbid_region(PLAN, LOWER, FAST)

    assert inside
    assert set(changed(edited)) == inside
    assert not any(1550 <= run.recipe.steps[2].speed_rpm <= 1650 for run in edited.runs)
    assert edited.feasible_share < PLAN.feasible_share
    assert "fast_dry_rpm 1550 to 1650" in edited.edits[0]
    rungs = [run for run in edited.runs if run.cell is Cell.LADDER]
    assert [run.recipe.name for run in rungs] == ["ladder 1", "ladder 2", "ladder 3"]
    again = replan(edited, LOWER, seed=9)
    assert not any(1550 <= run.recipe.steps[2].speed_rpm <= 1650 for run in again.runs)


def test_a_run_that_stays_is_not_forbidden_away():
    around_cr_1 = Ban(name="CR-1", bounds=(Bound(factor="fast_dry_rpm", low=1749, high=1751),))
    fill = PLAN.runs[FILLS[0] - 1]
    around_pinned = Ban(
        name="that one",
        bounds=(Bound(factor="rinse_s", low=0, high=fill.recipe.steps[0].duration_s),),
    )

    with pytest.raises(PlanError, match="customer's recipe"):
        forbid_region(PLAN, LOWER, around_cr_1)
    with pytest.raises(PlanError, match=rf"\b{fill.number} \(inside the envelope\)"):
        forbid_region(pin_run(PLAN, fill.number), LOWER, around_pinned)


def test_pinned_runs_ladder_and_the_customers_stay_when_the_plan_is_made_again():
    pinned = pin_run(pin_run(PLAN, FILLS[1]), FILLS[5])
    again = replan(pinned, LOWER, seed=77)

    assert again.seed == 77
    stay = [r.number for r in pinned.runs if r.pinned or r.cell in {Cell.LADDER, Cell.CUSTOMER}]
    assert not set(stay) & set(changed(again))
    assert len(changed(again)) >= len(FILLS) - 4
    assert [run.number for run in again.runs if run.pinned] == [FILLS[1], FILLS[5]]
    assert "around 2 pinned" in again.edits[-1]
    counts = [sum(run.cell is cell for run in again.runs) for cell in Cell]
    assert counts == [3, 3, 2, 16]


def test_the_same_edit_gives_the_same_bytes():
    first, second = (replan(pin_run(PLAN, 9), LOWER, seed=3) for _ in range(2))

    assert canonical_json(first.to_document()) == canonical_json(second.to_document())


def test_measures_of_an_edited_plan_are_its_own():
    edited = move_run(PLAN, LOWER, FILLS[-1], FILLS[0])
    before, after = measure_plan(PLAN, LOWER), measure_plan(edited, LOWER)

    assert before.order_correlation <= 0.05 < after.order_correlation
    assert after.energy == pytest.approx(before.energy)


@pytest.mark.parametrize("number", [0, 25, -1])
def test_a_run_that_is_not_there_is_refused(number: int):
    with pytest.raises(PlanError, match=f"there is no run {number}"):
        pin_run(PLAN, number)
    with pytest.raises(PlanError, match=f"there is no run {number}"):
        move_run(PLAN, LOWER, 1, number)


def test_another_state_of_the_head_and_an_old_plan_are_refused():
    other = LOWER.model_copy(update={"rotor_mass_kg": 17.0})
    old = PLAN.model_copy(update={"asked": None})

    with pytest.raises(PlanError, match="another state of head QM-207-L"):
        move_run(PLAN, other, 1, 2)
    with pytest.raises(PlanError, match="does not say what it was asked to hold"):
        replan(old, LOWER)


def test_forbidding_everything_says_what_collides():
    whole = Ban(name="every speed", bounds=(Bound(factor="ramp_rpm_per_s", low=0, high=900),))
    bare = compose(
        "burn-in",
        LOWER,
        Asked(customer_load=PARTIAL_LOAD, customer_runs=0, corner_runs=0, total_runs=3),
        1,
    )

    with pytest.raises(PlanError, match=r"forbidden: every speed, which alone leaves 0\.0%"):
        forbid_region(bare, LOWER, whole)


def test_an_edited_plan_is_written_and_read_back_with_its_tables(tmp_path):
    edited = forbid_run(PLAN, LOWER, FILLS[0])
    write_plan(edited, tmp_path / "plan.json")
    unit, levels = export_tables(edited, LOWER, tmp_path / "tables")

    assert read_plan(tmp_path / "plan.json") == edited
    assert (unit.name, levels.name) == ("plan_unit.csv", "plan_levels.csv")
    assert len(levels.read_text().splitlines()) == 25
    assert unit.read_text().startswith("rinse_rpm,rinse_s,purge_s,")
