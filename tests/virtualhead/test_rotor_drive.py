"""The rotor against its closed form; drive and positioner against what they promise."""

import numpy as np
import pytest
from tests.demo_files import LOWER, PARTIAL_LOAD

from spinproof.model.load import Load
from spinproof.physics.rotor import RAD_PER_S_PER_RPM, coast_down_time
from spinproof.virtualhead.head import STEP_S
from spinproof.virtualhead.rotor_drive import TURN, Drive, Positioner, Rotor, loaded_inertia

RPM = RAD_PER_S_PER_RPM


def demo_rotor(rpm: float) -> Rotor:
    rotor = Rotor(0.22, 0.35, 0.0, 2.5e-5)
    rotor.speed = rpm * RPM
    return rotor


def time_to(rotor: Rotor, rpm: float, h: float = STEP_S) -> float:
    """Coast to a speed; the last step is shared out in proportion."""
    time = 0.0
    while True:
        before = rotor.speed
        rotor.advance(h, 0.0)
        if rotor.speed <= rpm * RPM:
            return time + h * (before - rpm * RPM) / (before - rotor.speed)
        time += h


@pytest.mark.parametrize(("rpm", "seconds"), [(1100, 54.78), (1750, 71.55), (2000, 75.95)])
def test_the_demo_rotor_coasts_to_40_rpm_in_the_closed_forms_time(rpm, seconds):
    simulated = time_to(demo_rotor(rpm), 40)

    assert simulated == pytest.approx(seconds, abs=0.01)
    closed = coast_down_time(0.22, 0.35, 0.0, 2.5e-5, rpm * RPM, 40 * RPM)
    assert simulated == pytest.approx(float(closed), abs=1e-4)


def test_a_step_of_half_the_length_has_a_sixteenth_of_the_error():
    """Speed 40 s after 2000 rpm with all kinds of drag, against very short steps: order four."""

    def speed_after(steps: int) -> float:
        rotor = Rotor(0.22, 0.12, 0.002, 1.5e-5)
        rotor.speed = 2000 * RPM
        for _ in range(steps):
            rotor.advance(40.0 / steps, 0.0)
        return rotor.speed

    exact = speed_after(4096)
    errors = [abs(speed_after(steps) - exact) for steps in (8, 16, 32)]
    assert 12 < errors[0] / errors[1] < 20
    assert 12 < errors[1] / errors[2] < 20


def test_the_angle_is_the_integral_of_the_speed():
    rotor, angle = demo_rotor(1100), 0.0
    for _ in range(2000):
        before = rotor.speed
        rotor.advance(STEP_S, 0.0)
        angle += (before + rotor.speed) / 2 * STEP_S

    assert rotor.angle == pytest.approx(angle, rel=1e-7)


def test_a_rotor_at_rest_stays_there_until_the_torque_beats_the_drag():
    rotor = demo_rotor(0)

    rotor.advance(STEP_S, 0.3)
    assert (rotor.speed, rotor.angle) == (0.0, 0.0)
    rotor.advance(STEP_S, 0.5)
    assert rotor.speed == pytest.approx(0.15 / 0.22 * STEP_S, rel=1e-4)


def test_a_coasting_rotor_stops_and_never_turns_back():
    rotor = demo_rotor(5)
    for _ in range(200):
        rotor.advance(STEP_S, 0.0)

    assert rotor.speed == 0.0


def test_wafers_add_their_inertia_about_the_rotor_axis():
    added = loaded_inertia(LOWER, PARTIAL_LOAD) - LOWER.inertia_kg_m2

    assert added == pytest.approx(13 * 53.05e-3 * 0.2**2 / 8, rel=1e-9)


def test_off_the_axis_the_parallel_axis_term_comes_on_top():
    spec = LOWER.model_copy(update={"wafer_edge_radius_m": 0.25})
    load = Load(name="one", slots=(1,), wafer_mass_g=50.0)
    added = loaded_inertia(spec, load) - spec.inertia_kg_m2

    assert added == pytest.approx(0.05 * 0.2**2 / 8 + 0.05 * 0.15**2, rel=1e-9)


def driven(rotor: Rotor, drive: Drive, seconds: float) -> np.ndarray:
    speeds = []
    for _ in range(round(seconds / STEP_S)):
        drive.advance(STEP_S, rotor.speed)
        rotor.advance(STEP_S, drive.torque)
        speeds.append(rotor.speed / RPM)
    return np.array(speeds)


def test_the_drive_follows_its_ramp_and_hardly_overshoots():
    rotor, drive = demo_rotor(0), Drive(LOWER, 1.0, 0.0)
    drive.command(1750, 50)
    speeds = driven(rotor, drive, 60)
    time = STEP_S * np.arange(1, len(speeds) + 1)
    ramp = (time > 5) & (time < 34)

    assert np.polyfit(time[ramp], speeds[ramp], 1)[0] == pytest.approx(50, rel=0.01)
    assert speeds.max() < 1750 * 1.005
    assert speeds[-1] == pytest.approx(1750, rel=1e-4)
    assert drive.is_at_speed


def test_the_drive_slows_down_along_its_ramp():
    rotor, drive = demo_rotor(0), Drive(LOWER, 1.0, 0.0)
    drive.command(1750, 80)
    driven(rotor, drive, 40)
    drive.command(1100, 50)
    speeds = driven(rotor, drive, 20)

    assert speeds[round(6.5 / STEP_S)] == pytest.approx(1750 - 325, abs=5)
    assert speeds.min() > 1100 * 0.995
    assert speeds[-1] == pytest.approx(1100, rel=1e-4)


def test_the_motor_gives_no_more_than_its_limit():
    spec = LOWER.model_copy(update={"motor_torque_limit_n_m": 1.0})
    rotor, drive = demo_rotor(0), Drive(spec, 1.0, 0.0)
    drive.command(1750, 50)
    speeds = driven(rotor, drive, 400)

    assert drive.torque == 1.0
    # 1.0 N m less 0.35 N m is all that windage can take: sqrt(0.65 / 2.5e-5) rad/s
    assert speeds[-1] == pytest.approx(np.sqrt(0.65 / 2.5e-5) / RPM, rel=0.01)


@pytest.mark.parametrize("rpm", [1.0, 20.0, 36.0, 39.9])
@pytest.mark.parametrize("angle", np.linspace(1.0, 1.0 + TURN, 9))
def test_the_positioner_brings_the_rotor_home_within_two_and_a_half_seconds(rpm, angle):
    rotor, positioner, time, top = demo_rotor(rpm), Positioner(40.0), 0.0, rpm
    rotor.angle = 300 * TURN + angle
    while not positioner.is_home:
        positioner.advance(STEP_S, rotor)
        if not positioner.is_out:
            rotor.advance(STEP_S, 0.0)
        time, top = time + STEP_S, max(top, rotor.speed / RPM)
        assert time < 2.5

    assert top < 40
    assert rotor.speed == 0.0
    assert rotor.angle % TURN == pytest.approx(0, abs=1e-9) or TURN - rotor.angle % TURN < 1e-9
