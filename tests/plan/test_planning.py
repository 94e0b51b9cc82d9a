"""Burn-in plans of the demo's head, and of heads that leave little room."""

from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD

from spinproof.files.canonical import canonical_json, digest_of
from spinproof.model.errors import PlanError
from spinproof.model.head import HeadSpec, RotorAxis, Span
from spinproof.model.load import Load
from spinproof.model.plan import Cell, Plan
from spinproof.model.recipe import Recipe, StepKind, TimerBasis
from spinproof.plan.planning import CORNERS, make_plan
from spinproof.plan.region import HOLD_S


def plan(head: HeadSpec = LOWER, *, seed: int = 1041, **changes: object) -> Plan:
    asked = {
        "customer": (CR_1,),
        "customer_runs": 6,
        "corner_runs": 8,
        "total_runs": 54,
        "customer_load": PARTIAL_LOAD,
    } | changes
    return make_plan("burn-in", head, seed=seed, **asked)


def head_with(**envelope: object) -> HeadSpec:
    return LOWER.model_copy(update={"envelope": LOWER.envelope.model_copy(update=envelope)})


def squared_speed(recipe: Recipe) -> float:
    """Sample the set-point of a recipe at 20 Hz and average its square."""
    time, speed = [0.0], [0.0]
    for step in recipe.steps:
        ramp = abs(step.speed_rpm - speed[-1]) / step.ramp_rpm_per_s
        start = time[-1]
        time += [start + min(ramp, step.duration_s), start + step.duration_s]
        speed += [step.speed_rpm, step.speed_rpm]
    return float(np.mean(np.square(np.interp(np.arange(0.0, time[-1], 0.05), time, speed))))


def breaches(recipe: Recipe, head: HeadSpec) -> list[str]:
    """Say what a recipe breaks, read off its steps one by one."""
    rinse, purge, fast, final = recipe.steps
    envelope, found = head.envelope, []
    for name, span, value in (
        ("rinse speed", envelope.rinse_rpm, rinse.speed_rpm),
        ("rinse time", envelope.rinse_s, rinse.duration_s),
        ("purge time", envelope.purge_s, purge.duration_s),
        ("fast speed", envelope.fast_dry_rpm, fast.speed_rpm),
        ("fast time", envelope.fast_dry_s, fast.duration_s),
        ("final speed", envelope.final_dry_rpm, final.speed_rpm),
        ("final time", envelope.final_dry_s, final.duration_s),
        ("ramp", envelope.ramp_rpm_per_s, rinse.ramp_rpm_per_s),
    ):
        if not span.low <= value <= span.high:
            found.append(name)
    if fast.speed_rpm < rinse.speed_rpm + envelope.step_up_rpm:
        found.append("step up")
    if final.speed_rpm > fast.speed_rpm - envelope.step_down_rpm:
        found.append("step down")
    if sum(step.duration_s for step in recipe.steps) > envelope.process_time_limit_s:
        found.append("process time")
    if squared_speed(recipe) > envelope.duty_limit_rpm2 * 1.002:
        found.append("duty")
    for before, step in zip(
        (0.0, rinse.speed_rpm, fast.speed_rpm), (rinse, fast, final), strict=True
    ):
        if abs(step.speed_rpm - before) / step.ramp_rpm_per_s + HOLD_S > step.duration_s + 1e-9:
            found.append(f"{step.name} does not hold its speed")
    return found


DEMO = plan()


def test_the_same_seed_gives_the_same_bytes_and_another_seed_another_plan():
    assert canonical_json(plan().to_document()) == canonical_json(DEMO.to_document())
    assert plan(seed=1042) != DEMO


def test_every_run_stays_inside_the_envelope_and_its_limits():
    assert {run.recipe.name: b for run in DEMO.runs if (b := breaches(run.recipe, LOWER))} == {}


def test_the_customers_recipe_comes_first_last_and_evenly_between():
    numbers = [run.number for run in DEMO.runs if run.cell is Cell.CUSTOMER]

    assert numbers == [1, 12, 22, 33, 43, 54]
    for run in DEMO.runs:
        if run.cell is Cell.CUSTOMER:
            assert (run.recipe, run.load) == (CR_1, PARTIAL_LOAD)


def test_several_recipes_of_the_customer_take_turns():
    second = CR_1.model_copy(update={"name": "CR-2"})
    made = plan(customer=(CR_1, second), customer_runs=4)

    named = [run.recipe.name for run in made.runs if run.cell is Cell.CUSTOMER]
    assert named == ["CR-1", "CR-2", "CR-1", "CR-2"]


def test_the_corners_stand_at_the_ends_of_speeds_and_heat():
    corners = {
        (
            run.recipe.steps[0].speed_rpm,
            run.recipe.steps[2].speed_rpm,
            run.recipe.steps[2].heater_c is not None,
        )
        for run in DEMO.runs
        if run.cell is Cell.CORNER
    }

    assert corners == {(r, f, h) for r in (300, 600) for f in (1000, 2000) for h in (False, True)}


@pytest.mark.parametrize("count", [4, 8])
def test_each_level_of_a_corner_comes_as_often_as_the_other(count: int):
    chosen = CORNERS[:count]

    assert len(set(chosen)) == count
    assert [sum(corner[i] for corner in chosen) for i in range(3)] == [count / 2] * 3


def test_heat_and_loads_are_balanced():
    fill = [run for run in DEMO.runs if run.cell is Cell.FILL]
    levels = Counter((run.recipe.steps[2].heater_c, run.load.wafer_count) for run in fill)

    assert len(fill) == 40
    assert levels == dict.fromkeys([(h, n) for h in (None, 80.0) for n in (0, 5, 13, 25)], 5)
    corners = Counter(run.load.wafer_count for run in DEMO.runs if run.cell is Cell.CORNER)
    assert corners == dict.fromkeys((0, 5, 13, 25), 2)


def test_recipes_are_fit_to_be_typed_and_run():
    for run in DEMO.runs:
        for step in run.recipe.steps:
            assert step.speed_rpm % 5 == 0
            assert step.duration_s % 1 == 0
            assert step.timer_basis is TimerBasis.FROM_COMMAND
            assert step.water == (step.kind is StepKind.RINSE)
            assert step.nitrogen == (step.kind is not StepKind.RINSE)
            assert step.heater_c is None or step.kind is StepKind.DRY
    made = [run.recipe.name for run in DEMO.runs if run.cell is not Cell.CUSTOMER]
    assert len(set(made)) == 48


def test_loads_are_symmetric_and_use_the_customers_wafers():
    for run in DEMO.runs:
        mirrored = {LOWER.slots + 1 - slot for slot in run.load.slots}
        assert mirrored == set(run.load.slots)
        if run.load.slots:
            assert run.load.wafer_mass_g == PARTIAL_LOAD.wafer_mass_g
            assert run.load.seat_eccentricity_mm == PARTIAL_LOAD.seat_eccentricity_mm


def test_a_load_beyond_its_balance_grade_is_noted_at_the_speed_where_it_is():
    """U in g mm = 9549.297 G m / n, ISO 21940-11; 25 wafers of 53.05 g, 0.5 mm off the axis."""
    for run in DEMO.runs:
        permitted = 9549.297 * 6.3 * LOWER.rotor_mass_kg / run.recipe.top_speed_rpm
        beyond = run.load.wafer_count * run.load.wafer_mass_g * 0.5 > permitted
        assert (run.note is not None) == beyond
    noted = [run for run in DEMO.runs if run.note]
    assert {run.load.wafer_count for run in noted} == {25}
    assert min(run.recipe.top_speed_rpm for run in noted) > 1469


def test_a_full_load_of_the_customers_recipe_is_worse_than_its_partial_one():
    full = Load(name="25 of 25", slots=range(1, 26), wafer_mass_g=53.05, seat_eccentricity_mm=0.5)
    (partial_run, *_), (full_run, *_) = DEMO.runs, plan(customer_load=full).runs

    assert partial_run.note is None
    assert full_run.note is not None
    # 9549.297 x 6.3 x 16.2 kg / 1750 rpm; wafers do not widen the limit
    assert "663.1 g mm" in full_run.note
    assert "556.9 g mm" in full_run.note
    assert "1750 rpm" in full_run.note
    assert "full load can be worse than a partial one" in full_run.note


def test_the_plan_states_the_claim_it_would_support():
    assert round(DEMO.reliability_if_clean, 4) == 0.9460
    assert DEMO.confidence == 0.95
    assert DEMO.head_sha256 == digest_of(LOWER.to_document())
    assert "starts the count again" in DEMO.restart_rule


def test_the_feasible_share_equals_a_count_of_random_recipes_one_by_one():
    """Two routes: the plan's arrays, and 1500 recipes checked step by step (two sigma 0.025)."""
    spans = [
        getattr(LOWER.envelope, name)
        for name in (
            "rinse_rpm", "rinse_s", "purge_s", "fast_dry_rpm", "fast_dry_s", "final_dry_rpm",
            "final_dry_s", "ramp_rpm_per_s",
        )
    ]  # fmt: skip
    rng, inside = np.random.default_rng(3), 0
    for _ in range(1500):
        rinse, rinse_s, purge_s, fast, fast_s, final, final_s, ramp = (
            float(rng.uniform(span.low, span.high)) for span in spans
        )
        steps = [
            step.model_copy(
                update={"speed_rpm": speed, "duration_s": seconds, "ramp_rpm_per_s": ramp}
            )
            for step, speed, seconds in zip(
                CR_1.steps,
                (rinse, rinse, fast, final),
                (rinse_s, purge_s, fast_s, final_s),
                strict=True,
            )
        ]
        inside += not breaches(CR_1.model_copy(update={"steps": tuple(steps)}), LOWER)

    assert DEMO.feasible_share == pytest.approx(inside / 1500, abs=0.03)


def test_a_fixed_factor_keeps_its_number_even_between_the_steps_of_typing():
    made = plan(head_with(rinse_rpm=Span(low=452.5, high=452.5)))

    own = [run.recipe for run in made.runs if run.cell is not Cell.CUSTOMER]
    assert {recipe.steps[0].speed_rpm for recipe in own} == {452.5}


def test_values_are_rounded_into_the_span_and_not_out_of_it():
    made = plan(head_with(rinse_rpm=Span(low=452.0, high=457.9)))

    own = [run.recipe for run in made.runs if run.cell is not Cell.CUSTOMER]
    assert {recipe.steps[0].speed_rpm for recipe in own} == {455.0}


def test_every_step_reaches_its_speed_and_holds_it():
    hasty = head_with(rinse_s=Span(low=1.0, high=25.0), fast_dry_s=Span(low=10.0, high=60.0))
    made = plan(hasty, corner_runs=0, total_runs=60)

    assert [breaches(run.recipe, hasty) for run in made.runs if run.cell is Cell.FILL] == [[]] * 54


def test_a_plan_needs_neither_corners_nor_recipes_of_the_customer():
    made = plan(customer=(), customer_runs=0, corner_runs=0, total_runs=5)

    assert {run.cell for run in made.runs} == {Cell.FILL}
    assert [run.number for run in made.runs] == [1, 2, 3, 4, 5]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"total_runs": 13}, "too few runs: 6 of the customer's recipes and 8 corners"),
        ({"customer_runs": 0, "customer": (), "corner_runs": 0, "total_runs": 0}, "too few runs"),
        ({"corner_runs": 9}, "there are 8 corners"),
        ({"corner_runs": -1}, "negative"),
        ({"customer": ()}, "no such recipe"),
        ({"customer": (CR_1, CR_1), "customer_runs": 1}, "cannot hold 2 recipes"),
        ({"customer_load": Load(name="none")}, "what a wafer weighs"),
        ({"customer_load": PARTIAL_LOAD.model_copy(update={"slots": (26,)})}, "25 slots"),
    ],
)
def test_numbers_that_do_not_fit_are_refused(changes: dict, message: str):
    with pytest.raises(PlanError, match=message):
        plan(**changes)


@pytest.mark.parametrize(
    ("head", "message"),
    [
        (head_with(process_time_limit_s=100.0), "CR-1 takes 380 s"),
        (head_with(duty_limit_rpm2=1.5e6), "CR-1 has a mean squared speed of 1.545e"),
        (head_with(step_up_rpm=1701.0), "0 feasible points"),
        (head_with(fast_dry_rpm=Span(low=1000.0, high=2100.0)), "above the head's top speed"),
        (head_with(wafer_counts=(0, 30)), "25 slots"),
        (head_with(step_up_rpm=700.0), "no times make the corner feasible"),
        (
            LOWER.model_copy(update={"axis": RotorAxis.OFF_AXIS, "cassette_radius_mm": 150.0}),
            "out of balance",
        ),
        (LOWER.model_copy(update={"motor_torque_limit_n_m": 0.5}), "0 feasible points"),
    ],
)
def test_an_envelope_that_leaves_no_plan_is_refused_in_words(head: HeadSpec, message: str):
    with pytest.raises(PlanError, match=message):
        plan(head)


spans = st.tuples(st.integers(0, 100), st.integers(0, 100)).map(sorted)


@settings(max_examples=25)
@given(
    seed=st.integers(0, 2**32),
    cuts=st.lists(spans, min_size=4, max_size=4),
    up=st.integers(0, 600),
    down=st.integers(0, 400),
    runs=st.integers(1, 12),
)
def test_whatever_the_envelope_a_plan_stays_inside_it_or_is_refused(
    seed: int, cuts: list, up: int, down: int, runs: int
):
    names = ("rinse_rpm", "fast_dry_rpm", "final_dry_rpm", "fast_dry_s")
    wide = [getattr(LOWER.envelope, name) for name in names]
    narrow = {
        name: Span(
            low=span.low + low / 100 * (span.high - span.low),
            high=span.low + high / 100 * (span.high - span.low),
        )
        for name, span, (low, high) in zip(names, wide, cuts, strict=True)
    }
    head = head_with(**narrow, step_up_rpm=float(up), step_down_rpm=float(down))
    asked = {"customer": (), "customer_runs": 0, "corner_runs": 0, "total_runs": runs}
    try:
        made, told = plan(head, seed=seed, **asked).runs, ""
    except PlanError as refusal:
        made, told = (), str(refusal)
    assert len(made) == runs or "feasible points" in told
    assert [breaches(run.recipe, head) for run in made] == [[]] * len(made)
