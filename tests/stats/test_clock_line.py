"""The clock of a device against that of its listener: the line under the arrivals."""

import numpy as np
import pytest
from scipy.optimize import linprog

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.clock_line import USUAL_DRIFT, clock_line


def messages(rng, count, seconds, drift, mean_delay_s=2e-3):
    device = np.arange(count) * seconds / count
    return device, 0.3 + device / (1 + drift) + rng.exponential(mean_delay_s, count)


def test_the_line_is_the_best_one_that_no_message_lies_under():
    device, arrival = messages(np.random.default_rng(3), 4000, 3600, 3e-5)
    line = clock_line(device, arrival)
    limits = np.column_stack([np.ones(device.size), device])
    solved = linprog(-limits.sum(axis=0), A_ub=limits, b_ub=arrival, bounds=(None, None)).x
    assert line.offset == pytest.approx(solved[0], abs=1e-7)
    assert line.pace == pytest.approx(solved[1], abs=1e-10)


@pytest.mark.parametrize(("count", "seconds"), [(40, 10), (1440, 360), (14400, 3600)])
def test_the_stated_uncertainties_are_those_of_many_recordings(count, seconds):
    errors, stated = [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        drift = rng.normal(0, 5e-5)
        line = clock_line(*messages(rng, count, seconds, drift))
        errors.append((line.offset - 0.3, line.drift - drift))
        stated.append((line.offset_uncertainty, line.drift_uncertainty))
    scatter = np.sqrt(np.mean(np.square(errors), axis=0))
    mean = np.mean(stated, axis=0)
    assert (scatter < 1.2 * mean).all()
    assert (mean < 10 * scatter).all()


def test_messages_that_come_late_change_nothing():
    device, arrival = messages(np.random.default_rng(5), 1000, 300, 4e-5)
    late = arrival.copy()
    late[200:260] += 30.0
    assert clock_line(device, late).drift == pytest.approx(4e-5, abs=1e-6)
    assert clock_line(device, late).widest_delay > 29


def test_few_messages_tell_no_more_of_a_drift_than_is_known_of_quartz():
    line = clock_line([0.0], [7.0])
    assert (line.offset, line.pace, line.drift_uncertainty) == (7.0, 1.0, USUAL_DRIFT)
    rough = clock_line(*messages(np.random.default_rng(1), 8, 2, 0.0, mean_delay_s=0.1))
    assert abs(rough.drift) < 3 * USUAL_DRIFT
    assert rough.drift_uncertainty == pytest.approx(USUAL_DRIFT, rel=0.1)


@pytest.mark.parametrize("pace", [0.5, 2.0, 1e-3])
def test_another_rate_is_not_drawn_towards_the_usual_one(pace):
    device = np.arange(400) * 0.25
    arrival = 5 + device * pace + np.random.default_rng(2).exponential(1e-4, 400)
    assert clock_line(device, arrival).pace == pytest.approx(pace, rel=1e-3)


@pytest.mark.parametrize(("device", "arrival"), [([], []), ([1.0], [1.0, 2.0]), ([1.0], [np.nan])])
def test_what_is_no_row_of_messages_is_refused(device, arrival):
    with pytest.raises(OutOfRangeError):
        clock_line(device, arrival)
