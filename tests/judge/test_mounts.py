"""The resonance of the mounts: found in the coast of a simulated head, refused where it is not."""

from types import SimpleNamespace

import numpy as np
import pytest
from tests.demo_files import LOWER
from tests.judge.test_vibration import BATCH, CHANNELS, RATE, Stream

from spinproof.judge.mounts import mount_metrics
from spinproof.judge.vibration import felt_samples
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.virtualhead.faults import Disturbances
from spinproof.virtualhead.vibration import accelerations, vibration_spec

HOLD_S, DECELERATION = 10.0, 1.56


def coast(mounts: float = 1.0, top_rpm: float = 900.0):
    """Give what was felt in ten seconds at speed and the coast after it."""
    top = top_rpm * RAD_PER_S_PER_RPM
    time = np.arange(0, HOLD_S + top / DECELERATION, 0.05)
    speed = np.clip(top - DECELERATION * np.maximum(time - HOLD_S, 0), 0, None)
    spec = vibration_spec(LOWER, 300.0, Disturbances(mount_factor=mounts))
    counts = np.concatenate(list(accelerations(time, speed, spec, RATE, 3)))
    counts[:, 3] *= 3000
    channels = tuple(
        c.model_copy(update={"scale": spec.m_s2_per_count}) if c.unit == "m/s2" else c
        for c in CHANNELS
    )
    assert len(counts) > BATCH
    return felt_samples(Stream(counts, channels), None)


RUNS = (SimpleNamespace(end_s=HOLD_S),)


@pytest.mark.parametrize("mounts", [1.0, 0.5, 4.0])
def test_speed_and_damping_of_the_mounts_are_found_in_the_coast(mounts):
    speed, damping = mount_metrics(coast(mounts), RUNS)

    assert speed.name == "resonance_speed"
    assert speed.value == pytest.approx(190 * mounts**0.5, abs=2 * speed.uncertainty)
    assert speed.uncertainty < 10
    assert damping.value == pytest.approx(0.15, abs=0.03)


def test_a_coast_that_stays_above_the_resonance_tells_nothing():
    felt = coast()
    kept = felt.windows.speed > 400 / 60
    felt.windows.speed[~kept] = 0
    speed, damping = mount_metrics(felt, RUNS)

    assert (speed.value, damping.value) == (None, None)
    assert speed.note


def test_without_a_fast_stream_or_a_step_there_is_no_such_metric():
    assert mount_metrics(None, RUNS) == []
    assert mount_metrics(coast(), ()) == []


def test_without_a_turning_rotor_it_says_so():
    felt = coast()
    felt.windows.speed[:] = 0

    assert [m.note for m in mount_metrics(felt, RUNS)] == [
        "no second of the coast holds even pulses of the shaft"
    ] * 2
