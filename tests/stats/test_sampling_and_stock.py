"""Lots, spares, balances, rooms and instruments: order, edges, refusals."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import OutOfRangeError
from spinproof.stats.cleanliness import particle_limit, sample_volume
from spinproof.stats.sampling import acceptance_probability, defective_share, sample_size
from spinproof.stats.spares import spares_for_history, spares_for_rate
from spinproof.stats.type_b import from_certificate, from_error_limits, from_pulse_count
from spinproof.stats.weighing import (
    detection_limits,
    drop_diameter,
    film_of_mass,
    weighing_uncertainty,
)


@given(lot=st.integers(2, 10**6))
def test_a_larger_lot_is_never_sampled_less(lot):
    assert sample_size(lot + 1)[1] >= sample_size(lot)[1]
    assert sample_size(lot)[1] <= lot


@given(sample=st.integers(1, 80), allowed=st.integers(0, 5), probability=st.floats(0.01, 0.99))
def test_the_share_is_where_the_lot_is_accepted_with_that_probability(sample, allowed, probability):
    if allowed >= sample:
        return
    share = defective_share(sample, allowed, probability)

    assert acceptance_probability(sample, allowed, share) == pytest.approx(probability, abs=1e-6)


@given(failures=st.integers(0, 30), horizon=st.floats(0, 2000), more=st.floats(1, 2000))
def test_a_longer_horizon_never_asks_for_fewer_spares(failures, horizon, more):
    now = spares_for_history(failures, 1000.0, horizon, 0.95)

    assert spares_for_history(failures, 1000.0, horizon + more, 0.95) >= now
    assert now >= spares_for_rate(failures * horizon / 1000.0, 0.95) - 1


def test_no_demand_asks_for_no_spares():
    assert spares_for_rate(0.0, 0.99) == 0
    assert spares_for_history(0, 1000.0, 0.0, 0.99) == 0


def test_a_hundredth_of_a_gram_on_thirteen_wafers_is_a_film_of_twelve_nanometres():
    assert film_of_mass(1e-5, 1000.0, 0.2, 26) == pytest.approx(12.24e-9, abs=5e-12)
    assert film_of_mass(0.0, 1000.0, 0.2, 26) == 0
    assert drop_diameter(0.0, 1000.0) == 0


def test_drift_adds_to_the_uncertainty_of_both_weighings():
    assert weighing_uncertainty(3.0, 0.0, 4.0) == pytest.approx(2**0.5 * 5.0)
    assert detection_limits(0.0) == (0.0, 0.0)


WRONG = {
    "a single part": lambda: sample_size(1),
    "more allowed than inspected": lambda: acceptance_probability(3, 4, 0.1),
    "a share above one": lambda: acceptance_probability(3, 0, 1.1),
    "a lot smaller than its sample": lambda: acceptance_probability(13, 0, 0.5, lot=10),
    "a part of a part": lambda: acceptance_probability(3, 0, 0.03, lot=10),
    "all allowed": lambda: defective_share(3, 3, 0.1),
    "certain acceptance": lambda: defective_share(3, 0, 1.0),
    "negative demand": lambda: spares_for_rate(-1.0, 0.9),
    "certain stock": lambda: spares_for_rate(1.0, 1.0),
    "no exposure": lambda: spares_for_history(1, 0.0, 10.0, 0.9),
    "negative failures": lambda: spares_for_history(-1, 10.0, 10.0, 0.9),
    "negative repeatability": lambda: weighing_uncertainty(-1.0, 0.0),
    "negative uncertainty": lambda: detection_limits(-1.0),
    "negative mass": lambda: drop_diameter(-1.0, 1000.0),
    "no density": lambda: film_of_mass(1.0, 0.0, 0.2, 2),
    "no faces": lambda: film_of_mass(1.0, 1000.0, 0.2, 0),
    "class 0": lambda: particle_limit(0, 0.5),
    "too small": lambda: sample_volume(5, 0.05),
    "no coverage factor": lambda: from_certificate(1.0, 0.1, 0.0),
    "negative expanded": lambda: from_certificate(1.0, -0.1),
    "negative error": lambda: from_error_limits(1.0, -0.1),
    "no pulses": lambda: from_pulse_count(600.0, 0, 0.1),
    "no gate": lambda: from_pulse_count(600.0, 60, 0.0),
}


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG)
def test_numbers_that_make_no_sense_are_refused(wrong):
    with pytest.raises(OutOfRangeError):
        wrong()
