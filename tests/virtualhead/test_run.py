"""Whole runs of the virtual head, without a network."""

import numpy as np
import pytest
from tests.demo_files import CASSETTES_LOAD, CR_1, LOWER, OFF_AXIS, PARTIAL_LOAD, UPPER
from tests.virtualhead.runs import NO_WAFERS, SHORT, Records, program, run, step

from spinproof.model.errors import DocumentError
from spinproof.model.load import Load, spread_slots
from spinproof.model.recipe import Recipe, StepKind, TimerBasis
from spinproof.model.registers import STEP_STOPPING, Field, Status
from spinproof.physics.film import thinning_dose
from spinproof.physics.rotor import RAD_PER_S_PER_RPM, coast_down_time
from spinproof.virtualhead.head import VirtualHead, simulate
from spinproof.virtualhead.rotor_drive import loaded_inertia


@pytest.fixture(scope="module")
def nominal() -> Records:
    """Run the customer's recipe with the load of the witnessed run."""
    return run(recipe=CR_1)


def test_the_stop_chain_is_gone_through_in_order(nominal):
    after = nominal.time > 10
    stop = nominal.first(nominal.during(STEP_STOPPING))
    moments = [
        stop,
        nominal.first(after & nominal.bit(Status.POSITIONER_OUT)),
        nominal.first(after & nominal.bit(Status.HOME_SENSOR)),
        nominal.first(after & ~nominal.bit(Status.SEAL_VALVE)),
        nominal.first(after & (nominal[Field.SEAL_PRESSURE] < LOWER.seal_release_kpa_g)),
        nominal.first(after & ~nominal.bit(Status.DOOR_LOCKED)),
        nominal.first(after & ~nominal.bit(Status.DOOR_CLOSED)),
    ]

    assert moments == sorted(moments)
    assert moments[2] - moments[1] <= 2.0
    assert moments[4] - moments[3] <= 1.95
    assert not nominal.bit(Status.FAULT).any()
    assert nominal.time[-1] - moments[-1] == pytest.approx(2.0, abs=0.3)


def test_the_positioner_moves_only_below_its_enable_speed(nominal):
    moment = nominal.first(nominal.bit(Status.POSITIONER_OUT)) - 0.3

    assert nominal[Field.DISPLAY_SPEED][nominal.time >= moment][0] <= LOWER.index_enable_rpm


def test_the_door_is_locked_and_the_seal_inflated_before_the_first_step(nominal):
    started = nominal.first(nominal.bit(Status.RUNNING))
    begun = nominal.first(nominal.during(1))
    sealing = (nominal.time >= started) & (nominal.time < begun)

    assert started == pytest.approx(1.5, abs=0.06)
    assert begun - started == pytest.approx(3.0, abs=0.06)
    assert nominal.bit(Status.DOOR_LOCKED)[sealing].all()
    assert nominal[Field.SEAL_PRESSURE][nominal.time >= begun][0] == pytest.approx(200, abs=2)


def test_each_step_lasts_as_long_as_the_recipe_says(nominal):
    for number, wanted in enumerate(CR_1.steps, start=1):
        assert nominal.during(number).sum() / 20 == pytest.approx(wanted.duration_s, abs=0.06)


def test_steps_hold_their_speed(nominal):
    for number, wanted in enumerate(CR_1.steps, start=1):
        held = nominal.speed()[nominal.during(number)][-60:]
        assert held == pytest.approx(wanted.speed_rpm, rel=0.003)


def test_the_dose_is_the_recipes(nominal):
    """The dose by the optical tach equals that of the ideal ramps, stop excluded."""
    begun, stop = nominal.first(nominal.during(1)), nominal.first(nominal.during(STEP_STOPPING))
    inside = (nominal.time >= begun) & (nominal.time <= stop)
    seen = thinning_dose(nominal.time[inside], nominal.speed()[inside] * RAD_PER_S_PER_RPM)
    time, rpm = np.array(
        [[0, 9, 60, 86, 180, 193, 380], [0, 450, 450, 1750, 1750, 1100, 1100]], dtype=float
    )
    assert seen == pytest.approx(thinning_dose(time, rpm * RAD_PER_S_PER_RPM), rel=0.005)


@pytest.mark.parametrize("load", [NO_WAFERS, PARTIAL_LOAD])
def test_the_coast_is_free_and_takes_the_closed_forms_time(load):
    execution = VirtualHead(LOWER).start(program(recipe=CR_1, load=load))
    rotor, samples = execution.plant.rotor, []
    while not execution.is_over:
        samples.append(execution.sample())
    records = Records(samples)
    stop = records.first(records.during(STEP_STOPPING))
    slow = records.first((records.time > stop) & (records.speed() < 200))

    closed = coast_down_time(
        loaded_inertia(LOWER, load), rotor.coulomb, 0.0, rotor.quadratic,
        1100 * RAD_PER_S_PER_RPM, 200 * RAD_PER_S_PER_RPM,
    )  # fmt: skip
    assert slow - stop == pytest.approx(float(closed), abs=0.5)
    assert records[Field.MOTOR_CURRENT][records.during(STEP_STOPPING)] == pytest.approx(0, abs=0.12)


def test_a_head_is_near_its_specification_and_never_on_it():
    ratios = []
    for number in range(200):
        plant = VirtualHead(LOWER).start(program(run_number=number + 1)).plant
        ratios.append(plant.rotor.coulomb / LOWER.coulomb_torque_n_m)

    assert np.ptp(ratios) > 0.01
    assert np.std(ratios) == pytest.approx(0.003, rel=0.2)
    assert np.mean(ratios) == pytest.approx(1, abs=0.015)
    assert VirtualHead(UPPER).start(program()).plant.rotor.coulomb != pytest.approx(
        VirtualHead(LOWER).start(program()).plant.rotor.coulomb, rel=1e-6
    )


def test_the_rinse_reaches_its_end_resistivity(nominal):
    rinse = nominal.during(1)

    assert nominal[Field.DRAIN_RESISTIVITY][rinse][0] == pytest.approx(2.0, abs=0.05)
    assert nominal[Field.DRAIN_RESISTIVITY][rinse][-1] > 17
    assert nominal[Field.FEED_RESISTIVITY] == pytest.approx(17.6, abs=0.3)
    assert nominal[Field.DI_FLOW][rinse][40:] == pytest.approx(15.0, rel=0.03)


def test_the_gas_is_warm_well_within_a_minute_of_heating(nominal):
    heated = nominal[Field.N2_TEMPERATURE][nominal.during(3)]

    assert heated[60 * 20 :] == pytest.approx(80, abs=1)
    assert nominal[Field.N2_FLOW][nominal.during(3)][40:] == pytest.approx(170, rel=0.02)


def test_the_water_held_up_is_gone_at_the_end():
    head = VirtualHead(LOWER)
    execution = head.start(program(recipe=CR_1))
    held = []
    while not execution.is_over:
        execution.sample()
        held.append(execution.hold_up.mass_g)

    assert max(held) == 5.0
    assert held[-1] < 0.1


@pytest.mark.parametrize(
    ("rpm", "wafers", "low", "high"), [(1750, 13, 0.3, 2.0), (2000, 25, 0.3, 3.0), (2000, 0, 0, 1)]
)
def test_vibration_is_that_of_a_sound_head(rpm, wafers, low, high):
    load = Load(
        name="some",
        slots=spread_slots(wafers, 25),
        wafer_mass_g=53.05,
        seat_eccentricity_mm=0.5,
    )
    fast = Recipe(name="fast", steps=(step(StepKind.DRY, 40.0, rpm, ramp_rpm_per_s=80.0),))
    records = run(recipe=fast, load=load)
    steady = records[Field.VIBRATION][records.during(1)][-100:]

    assert low < steady.mean() < high
    assert records[Field.VIBRATION].max() < 3.0


def test_cassettes_that_lack_a_wafer_shake_the_head_and_a_dummy_calms_it():
    odd = CASSETTES_LOAD.model_copy(update={"dummy_slots": ()})
    slow = Recipe(name="slow", steps=(step(StepKind.DRY, 40.0, 700.0, ramp_rpm_per_s=50.0),))
    shaken, calm = (
        Records(simulate(VirtualHead(OFF_AXIS), program(recipe=slow, load=load)))
        for load in (odd, CASSETTES_LOAD)
    )

    worse, better = (each[Field.VIBRATION][each.during(1)][-100:].mean() for each in (shaken, calm))
    assert worse > 5 * better


def test_a_timer_from_at_speed_leaves_the_ramp_on_top():
    """450 rpm at 50 rpm/s is reached after 9 s; then the ten seconds begin."""
    basis = TimerBasis.FROM_AT_SPEED
    recipe = Recipe(name="one", steps=(step(StepKind.DRY, 10.0, 450.0, timer_basis=basis),))
    records = run(recipe=recipe)

    assert records.during(1).sum() / 20 == pytest.approx(19.0, abs=0.3)


def test_the_same_seed_gives_the_same_records_and_another_seed_others():
    first, again = run(), run()

    assert np.array_equal(first.raw, again.raw)
    assert not np.array_equal(first.raw, run(seed=12).raw[: len(first.raw)])
    assert not np.array_equal(first.raw, run(run_number=2).raw[: len(first.raw)])


def test_counters_and_clock_go_on_from_run_to_run():
    head = VirtualHead(LOWER)
    first = Records(simulate(head, program()))
    clock = head.clock_us
    second = Records(simulate(head, program(run_number=2)))

    assert clock == 3600e6 + 1e6 * len(first.time) / 20 + 30e6
    assert second[Field.TACH_COUNT][0] == first[Field.TACH_COUNT][-1]
    assert second[Field.OPTICAL_EDGE_US][0] == first[Field.OPTICAL_EDGE_US][-1]


def test_a_program_that_the_head_cannot_run_is_refused_with_a_reason():
    head = VirtualHead(LOWER)
    fast = Recipe(name="fast", steps=(step(StepKind.DRY, 40.0, 2001.0),))
    high = Load(name="high", slots=(26,), wafer_mass_g=53.05)

    assert head.refusal(program()) is None
    assert "2000 rpm" in head.refusal(program(recipe=fast))
    assert "25 slots" in head.refusal(program(load=high))


def test_a_rotor_without_drag_is_refused_for_it_would_never_stop():
    with pytest.raises(DocumentError, match="never stop"):
        VirtualHead(LOWER.model_copy(update={"coulomb_torque_n_m": 0.0}))


def test_no_nominal_run_fails_to_index():
    """Wherever the rotor's targets stand when it gets slow, the tach proves it."""
    for seed in range(25):
        quick = step(StepKind.DRY, 3.0, 150.0 + 5 * seed, ramp_rpm_per_s=80.0)
        records = run(recipe=Recipe(name="quick", steps=(quick,)), seed=seed)
        assert records.bit(Status.HOME_SENSOR).any()
        assert not records.bit(Status.FAULT).any()


def test_stop_before_the_rotor_turns_opens_the_door_in_order():
    head = VirtualHead(LOWER)
    execution = head.start(program(recipe=SHORT))
    samples = []
    while not execution.is_over:
        if len(samples) == 50:
            execution.controller.press_stop(execution.now)
        samples.append(execution.sample())
    records = Records(samples)

    assert records.bit(Status.STOP_PRESSED).any()
    assert not records.during(1).any()
    assert not records.bit(Status.FAULT).any()
    assert not records.bit(Status.DOOR_CLOSED)[-1]
