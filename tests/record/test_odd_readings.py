"""Frozen sensors and spikes: told when they cannot be right, and never of a quantity that rests."""

import numpy as np
import pytest
from tests.demo_files import LOWER_CHANNELS

from spinproof.model.channel import Role
from spinproof.model.run import IncidentKind
from spinproof.model.trace import Signal
from spinproof.record.odd_readings import find_odd_readings

TIME_S = np.arange(0.0, 400.0, 0.25)
STEPS_AT = (45.0, 60.0, 180.0, 380.0)


def signal(role: Role, counts) -> Signal:
    channel = next(c for c in LOWER_CHANNELS.channels if c.role is role)
    return Signal(channel, TIME_S, np.asarray(counts).astype(np.int64))


def found(counts, *, role: Role = Role.N2_TEMPERATURE):
    step = signal(Role.STEP, np.searchsorted(STEPS_AT, TIME_S))
    return list(find_odd_readings({"step": step, "one": signal(role, counts)}))


def alive():
    """Give a temperature that follows the recipe, with the noise of its sensor."""
    rng = np.random.default_rng(4)
    level = np.interp(TIME_S, [0, 60, 90, 380, 400], [210, 210, 800, 800, 700])
    return np.rint(level + rng.normal(0, 0.8, TIME_S.size))


def test_a_living_sensor_is_never_called_frozen_or_spiky():
    assert found(alive()) == []


def test_a_sensor_that_repeats_one_reading_across_a_step_is_frozen():
    counts = alive()
    counts[TIME_S > 150] = counts[TIME_S <= 150][-1]
    (incident,) = found(counts)

    assert incident.kind is IncidentKind.FROZEN
    assert incident.time_s == pytest.approx(150, abs=1)
    assert incident.size == pytest.approx(249.75, abs=1)


def test_a_coarse_sensor_that_holds_within_one_step_is_not_frozen():
    counts = alive()
    steady = (TIME_S > 190) & (TIME_S < 375)
    counts[steady] = 800

    assert found(counts) == []


def test_a_quantity_at_rest_is_not_frozen():
    counts = np.zeros(TIME_S.size)
    counts[TIME_S < 45] = 1500 + np.arange((TIME_S < 45).sum()) % 7
    counts[0] = 0

    assert found(counts, role=Role.DI_FLOW) == []


@pytest.mark.parametrize("size", [200, -200])
def test_a_single_reading_that_stands_out_is_a_spike(size):
    counts = alive()
    counts[800] += size
    (incident,) = found(counts)

    assert (incident.kind, incident.size) == (IncidentKind.SPIKE, 1)
    assert incident.time_s == TIME_S[800]


def test_a_valve_that_opens_is_no_spike():
    counts = np.where((TIME_S > 10) & (TIME_S < 45), 1500, 0)

    assert found(counts, role=Role.DI_FLOW) == []
