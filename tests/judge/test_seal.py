"""The seal's pressure and its temperature, as the judgement shows them."""

import numpy as np
import pytest
from tests.demo_files import LOWER_CHANNELS
from tests.judge.traces import judged, make_trace

from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.trace import Signal, Trace

THERMOMETER = Channel(
    name="seal temperature",
    role=Role.SEAL_TEMPERATURE,
    first_register=60,
    type=CountType.F64,
    unit="degC",
    scale=0.01,
    sample_rate_hz=20,
    instrument=Instrument(name="TT-1", standard_uncertainty=0.1),
)


def heated(by_k_per_min):
    """Give the nominal trace with a seal that warms; its pressure follows by the ideal gas."""
    pressure = next(c for c in LOWER_CHANNELS.channels if c.role is Role.SEAL_PRESSURE).name

    def bend(values, time):
        kelvin = 293.15 + by_k_per_min * time / 60
        sealed = values[pressure] > 100
        absolute = (101.325 + values[pressure]) * kelvin / 293.15
        values[pressure] = np.where(sealed, absolute - 101.325, values[pressure])

    trace = make_trace(bend=bend)
    time = trace.signals[pressure].time_s
    warmth = Signal(THERMOMETER, time, np.rint((20 + by_k_per_min * time / 60) * 100))
    return Trace(
        trace.header, {**trace.signals, "seal temperature": warmth}, (), trace.ending, trace.sha256
    )


def test_without_a_thermometer_the_loss_says_what_half_a_kelvin_would_fake():
    found = judged(make_trace())

    assert found.metric("seal_loss").note == "a change by 0.5 K alone would make 490 Pa"
    assert found.metric("seal_pressure_loss").value is None
    assert "no channel measures the seal's temperature" in found.metric("seal_pressure_loss").note


@pytest.mark.parametrize("warming", [0.0, 0.3, -0.5])
def test_the_temperature_is_taken_out_of_the_pressure_loss(warming):
    """Loss of the formula: 2 % a minute of gauge pressure, about 186 kPa in the mean."""
    found = judged(heated(warming))
    loss = found.metric("seal_pressure_loss")
    still = judged(heated(0.0)).metric("seal_pressure_loss")

    assert loss.value == pytest.approx(still.value, abs=2 * loss.uncertainty)
    assert loss.value == pytest.approx(0.0202 * 186, rel=0.03)
    assert f"{warming * 7:+.0f}"[0] in loss.note


def test_a_warming_seal_hides_its_leak_when_nobody_reads_its_temperature():
    cold, warm = judged(heated(0.0)), judged(heated(2.0))

    assert warm.metric("seal_loss").value < 0.7 * cold.metric("seal_loss").value
    assert warm.metric("seal_pressure_loss").value == pytest.approx(
        cold.metric("seal_pressure_loss").value,
        rel=0.03,  # it is stated at the seal's mean temperature, here 7 K higher
    )
