"""Bowl and heater: what data without excitation leaves unsaid."""

import dataclasses

import numpy as np
import pytest
from tests.predict import heads

from spinproof.predict.rinse_step import mixing_of
from spinproof.predict.warm_up import heater_of

RNG = np.random.default_rng(1)
DRAINS = [heads.drain_step(RNG, i) for i in range(3)]
WARM_UPS = [heads.warm_up(RNG, i) for i in range(3)]


def test_a_sensor_that_lags_shows_its_delay():
    late = [dataclasses.replace(each, time_s=each.time_s + 2.0) for each in DRAINS]

    found = mixing_of(late)

    assert found.values["drain_delay_s"] == pytest.approx(2.0, abs=0.1)
    assert found.values["bowl_volume_l"] == pytest.approx(heads.VOLUME_L, rel=0.02)


def test_a_clean_drain_says_nothing():
    clean = [dataclasses.replace(d, conductivity=np.full(d.time_s.size, 5.6e-6)) for d in DRAINS]

    found = mixing_of(clean)

    assert found.fit is None
    assert "fell 1.00 times only: nothing to see" in found.cannot_say[0].why


def test_a_rinse_without_flow_says_nothing():
    dry = [dataclasses.replace(d, flow_lpm=np.zeros(d.flow_time_s.size)) for d in DRAINS]

    assert "shows no flow" in mixing_of(dry).cannot_say[0].why


def test_the_flow_meters_own_uncertainty_is_carried():
    sure = mixing_of(DRAINS).fit
    unsure = mixing_of([dataclasses.replace(d, flow_error=0.03) for d in DRAINS]).fit

    added = unsure.covariance[0][0] - sure.covariance[0][0]
    assert added == pytest.approx(0.03**2)


def test_the_heater_is_scaled_with_its_specified_power():
    once, twice = heater_of(WARM_UPS, 600.0), heater_of(WARM_UPS, 1200.0)

    name = "heater_heat_capacity_j_k"
    assert twice.values[name] == pytest.approx(2 * once.values[name])
    assert any("specified power" in caution for caution in once.fit.cautions)


@pytest.mark.parametrize(
    ("part", "why"), [(slice(0, 5), "5 readings"), (slice(0, 12), "rose by|time constants long")]
)
def test_a_warm_up_cut_short_says_nothing(part: slice, why: str):
    short = [
        dataclasses.replace(w, time_s=w.time_s[part], temperature_c=w.temperature_c[part])
        for w in WARM_UPS
    ]

    found = heater_of(short, 600.0)

    assert found.fit is None
    assert any(word in found.cannot_say[0].why for word in why.split("|"))


def test_gas_that_stands_still_says_nothing():
    still = [dataclasses.replace(w, gas_flow=0.0) for w in WARM_UPS]

    assert "no nitrogen flowed" in heater_of(still, 600.0).cannot_say[0].why
