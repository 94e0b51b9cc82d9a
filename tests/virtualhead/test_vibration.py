"""The accelerations have the lines, phases and noise that their specification says."""

from dataclasses import replace

import numpy as np
import pytest
from tests.demo_files import LOWER
from tests.virtualhead.runs import fault

from spinproof.model.errors import OutOfRangeError
from spinproof.model.program import FaultKind
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.virtualhead.faults import disturbances
from spinproof.virtualhead.sensors import Vibration
from spinproof.virtualhead.vibration import VibrationSpec, accelerations, vibration_spec

QUIET = VibrationSpec(
    mass_kg=60.0,
    natural_rad_s=1010 * RAD_PER_S_PER_RPM,
    damping=0.06,
    unbalance_g_mm=250.0,
    twice_m=0.0,
    belt_m=0.0,
    noise_m_s2=0.0,
    m_s2_per_count=1e-4,
)
RATE = 10_000.0


def steady(rpm, seconds, spec=QUIET, rate=RATE, seed=1):
    """Give all samples of a rotor that keeps its speed; accelerations in m/s²."""
    time = np.linspace(0.0, seconds, round(20 * seconds) + 1)
    blocks = accelerations(time, np.full(time.size, rpm * RAD_PER_S_PER_RPM), spec, rate, seed)
    samples = np.concatenate(list(blocks)).astype(float)
    samples[:, :3] *= spec.m_s2_per_count
    return samples


def line(samples, order, rpm, rate=RATE):
    """Give amplitude and phase at an order of the shaft, by a sum over whole turns."""
    turns = int(len(samples) / rate * rpm / 60 / 50) * 50
    size = round(turns * 60 / rpm * rate)
    phase = order * rpm * RAD_PER_S_PER_RPM * np.arange(size) / rate
    return 2 * np.mean(samples[:size] * np.exp(-1j * phase))


@pytest.mark.parametrize(("rpm", "severity"), [(1750, 0.80528), (2000, 0.82558)])
def test_the_once_per_turn_line_is_that_of_a_mass_on_its_mounts(rpm, severity):
    w, n = rpm * RAD_PER_S_PER_RPM, QUIET.natural_rad_s
    got = line(steady(rpm, 6.0)[:, 0], 1, rpm)
    expected = -(250e-6 / 60) * w**4 / (n * n - w * w + 2j * 0.06 * n * w)

    assert 1e3 * abs(got) / w / 2**0.5 == pytest.approx(severity, rel=1e-3)
    assert abs(got - expected) < 1e-3 * abs(expected)


def test_the_horizontal_direction_lags_by_a_quarter_turn():
    samples = steady(1750, 6.0)
    ratio = line(samples[:, 1], 1, 1750) / line(samples[:, 0], 1, 1750)

    assert ratio == pytest.approx(-0.8j, abs=2e-3)


def test_the_line_turns_by_half_a_turn_through_the_resonance():
    below, above = (line(steady(rpm, 6.0)[:, 0], 1, rpm) for rpm in (500, 2000))

    assert np.cos(np.angle(above / below)) < -0.98


def test_twice_the_frequency_and_the_belt_have_their_displacements():
    spec = replace(QUIET, unbalance_g_mm=0.0, twice_m=3e-6, belt_m=5e-6)
    samples, w = steady(1500, 8.0, spec)[:, 0], 1500 * RAD_PER_S_PER_RPM

    assert abs(line(samples, 2, 1500)) == pytest.approx(3e-6 * (2 * w) ** 2, rel=1e-3)
    assert abs(line(samples, 0.42, 1500)) == pytest.approx(5e-6 * (0.42 * w) ** 2, rel=5e-3)


def test_the_mark_passes_once_a_turn_from_the_first_moment_on():
    pulse = steady(1200, 10.0)[:, 3]

    assert pulse[0] == 1
    assert np.count_nonzero(np.diff(pulse) > 0) in {199, 200}
    assert pulse.mean() == pytest.approx(0.05, abs=0.001)


def test_phase_follows_a_ramp_exactly():
    time = np.array([0.0, 10.0, 12.5])
    speed = np.array([0.0, 180.0, 180.0])
    blocks = list(accelerations(time, speed, QUIET, RATE, 1))
    pulse = np.concatenate(blocks)[:, 3]
    edges = np.flatnonzero(np.diff(pulse) > 0) + 1
    moments = edges / RATE
    angle = np.where(moments < 10, 9 * moments**2, 900 + 180 * (moments - 10))

    turns = angle / (2 * np.pi)
    assert np.abs(turns - np.rint(turns)).max() < 180 / RATE / (2 * np.pi) + 1e-6
    assert len(edges) == int(1350 / (2 * np.pi))


def test_a_damaged_bearing_rings_at_its_order():
    spec = replace(QUIET, unbalance_g_mm=0.0, hit_m_s2=20.0, m_s2_per_count=0.005)
    samples = steady(1500, 20.0, spec, rate=25_600.0)[:, 0]
    spectrum = np.abs(np.fft.rfft(samples))
    rung = np.fft.rfftfreq(samples.size, 1 / 25_600)[np.argmax(spectrum)]
    envelope = np.abs(np.fft.rfft(samples**2 - np.mean(samples**2)))
    frequency = np.fft.rfftfreq(samples.size, 1 / 25_600)
    below = (frequency > 20) & (frequency < 150)

    assert rung == pytest.approx(4200, rel=0.04)
    assert frequency[below][np.argmax(envelope[below])] == pytest.approx(3.6 * 25, rel=0.01)
    assert samples.max() == pytest.approx(20 * 1.5, rel=0.15)


def test_noise_has_its_rms_and_is_gaussian_and_another_seed_gives_another():
    spec = replace(QUIET, unbalance_g_mm=0.0, noise_m_s2=0.5)
    samples = steady(1500, 20.0, spec)
    axes = samples[:, :3]
    kurtosis = np.mean(axes**4, axis=0) / np.mean(axes**2, axis=0) ** 2

    assert axes.std(axis=0) == pytest.approx(0.5, rel=0.01)
    assert kurtosis == pytest.approx(3.0, abs=0.06)
    assert np.abs(np.corrcoef(axes.T) - np.eye(3)).max() < 0.01
    assert np.array_equal(samples, steady(1500, 20.0, spec))
    assert not np.array_equal(samples, steady(1500, 20.0, spec, seed=2))


def test_a_clipped_accelerometer_shows_no_more_than_its_limit():
    spec = replace(QUIET, unbalance_g_mm=2500.0, clip_m_s2=0.7)
    samples = steady(1750, 3.0, spec)[:, 0]

    assert samples.max() == pytest.approx(0.7)
    assert samples.min() == pytest.approx(-0.7)
    assert np.mean(np.abs(samples) > 0.699) > 0.3


def test_a_loose_weight_changes_amplitude_and_phase_at_its_moment():
    spec = replace(QUIET, added_g_mm=250.0, added_from_s=6.0)
    samples = steady(1500, 12.0, spec)[:, 0]
    before, after = line(samples[:59_000], 1, 1500), line(samples[62_000:], 1, 1500)

    assert abs(after) / abs(before) == pytest.approx(1.0, abs=0.01)
    assert np.degrees(np.angle(after / before)) == pytest.approx(60, abs=1)


def test_blocks_cover_a_second_and_the_trace_to_its_end():
    time = np.linspace(0.0, 2.5, 51)
    blocks = list(accelerations(time, np.full(51, 100.0), QUIET, RATE, 1))

    assert [block.shape for block in blocks] == [(10_000, 4), (10_000, 4), (5_001, 4)]
    assert all(block.dtype == np.int16 for block in blocks)


def test_a_trace_that_goes_back_is_refused():
    with pytest.raises(OutOfRangeError):
        accelerations(np.array([0.0, 1.0, 0.5]), np.ones(3), QUIET, RATE, 1)


def test_the_fast_and_the_slow_channel_show_the_same_severity():
    wrong = disturbances([fault(FaultKind.UNBALANCE, 800.0), fault(FaultKind.SOFT_MOUNTS, 0.8)])
    spec = replace(vibration_spec(LOWER, 110.0, wrong), noise_m_s2=0.0, twice_m=0.0, belt_m=0.0)
    slow = Vibration(LOWER, 910.0, mounts=0.8, floor_mm_s=0.0)
    w = 1200 * RAD_PER_S_PER_RPM
    for _ in range(200):
        slow.advance(0.05, w)
    fast = abs(line(steady(1200, 6.0, replace(spec, m_s2_per_count=1e-4))[:, 0], 1, 1200))

    assert 1e3 * fast / w / 2**0.5 == pytest.approx(slow.shown_mm_s, rel=1e-3)


def test_faults_reach_the_accelerometers():
    wrong = disturbances(
        [
            fault(FaultKind.BEARING_DEFECT, 0.5),
            fault(FaultKind.SEAL_RUB, 0.1),
            fault(FaultKind.CLIPPED_ACCELEROMETER, 20.0),
            fault(FaultKind.WAFER_SHIFT, 300.0),
        ]
    )
    spec = vibration_spec(LOWER, 110.0, wrong, added_from_s=40.0)

    assert (spec.hit_m_s2, spec.clip_m_s2, spec.added_g_mm) == (20.0, 20.0, 300.0)
    assert spec.rub_m_s2 == pytest.approx(0.8)
    assert (spec.added_from_s, spec.added_in_s) == (40.0, 30.0)
    assert spec.hit_order == pytest.approx(3.585, abs=0.001)
