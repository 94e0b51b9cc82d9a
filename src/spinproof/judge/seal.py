"""How tight the inflated door seal held its pressure, with and without its temperature."""

import numpy as np
from numpy.typing import NDArray

from spinproof.judge.readings import Readings, Series
from spinproof.judge.verdicts import measured, missing
from spinproof.model.channel import Role
from spinproof.model.judgement import Metric
from spinproof.model.registers import Status
from spinproof.signals.means import slope_of
from spinproof.signals.pressure_decay import faked_by_temperature, pressure_fall

FILLED_S = 3.0
"""What is left out after the seal is full, until its gas has the temperature of its wall. [s]"""
INFLATED_SHARE = 0.9
"""Share of the highest pressure above which the seal is taken to be inflated."""
LEAST_S, LEAST_READINGS = 20.0, 20
"""Shorter, or with fewer readings, nothing is said of a loss. [s], [1]"""
ATMOSPHERE_PA = 101325.0
"""Pressure of the room when no barometer is read: a gauge reads above it. [Pa]"""
ROOM_K = 293.15
SAME_SENSOR = 0.9
"""Correlation of one sensor's errors at the begin and the end of a hold (an assumption). [1]"""
KELVIN = 273.15


def seal_metrics(readings: Readings) -> list[Metric]:
    """Give the metrics of the inflated seal."""
    seal = _inflated(readings)
    if isinstance(seal, str):
        return [missing(name, seal) for name in ("seal_loss", "seal_pressure_loss")]
    heat = readings.series(Role.SEAL_TEMPERATURE)
    loss = _loss(seal, None if heat is not None else _caution(seal))
    if heat is None or heat.values.size < 2:
        why = f"no channel measures the seal's temperature: {_caution(seal)}"
        return [loss, missing("seal_pressure_loss", why)]
    return [loss, _pressure_loss(seal, heat)]


def _inflated(readings: Readings) -> Series | str:
    """Give the readings from the inflation of the seal to its venting, or why there are none."""
    seal, inputs = readings.series(Role.SEAL_PRESSURE), readings.inputs
    if seal is None or inputs is None or seal.values.size == 0:
        return "no channel measures the seal's pressure and its valve"
    fed = inputs.time_s[inputs.state(Status.SEAL_VALVE)]
    if fed.size == 0:
        return "the seal was never inflated"
    high = seal.values >= INFLATED_SHARE * float(seal.values.max())
    start, end = float(seal.time_s[high][0]) + FILLED_S, float(fed[-1])
    inside = (seal.time_s >= start) & (seal.time_s <= end) & (seal.values > 0)
    if np.count_nonzero(inside) < LEAST_READINGS or end - start < LEAST_S:
        return f"the seal was inflated for less than {LEAST_S:g} s"
    return Series(seal.channel, seal.time_s[inside], seal.values[inside])


def _loss(seal: Series, caution: str | None) -> Metric:
    """Fit an exponential decay of the gauge pressure, in % in 60 s."""
    slope, spread = slope_of(seal.time_s, np.log(seal.values))
    stable = seal.uncertainty(float(seal.values.mean())) / float(seal.values.mean())
    drift = 100 * stable * 60 / _span(seal)
    loss = 100 * -np.expm1(60 * slope)
    return measured("seal_loss", loss, float(np.hypot(100 * 60 * spread, drift)), note=caution)


def _pressure_loss(seal: Series, heat: Series) -> Metric:
    """Fit the fall of the absolute pressure at the seal's mean temperature, in kPa in 60 s."""
    absolute = _absolute(seal)
    kelvin = KELVIN + np.interp(seal.time_s, heat.time_s, heat.values)
    fall = pressure_fall(
        seal.time_s,
        absolute,
        kelvin,
        pressure_uncertainty=1000 * seal.uncertainty(float(seal.values.mean())),
        temperature_uncertainty=heat.uncertainty(float(heat.values.mean())),
        correlation=SAME_SENSOR,
    )
    warmed = float(kelvin[-1] - kelvin[0])
    faked = faked_by_temperature(float(absolute.mean()), float(kelvin.mean()), warmed)
    note = f"its temperature changed by {warmed:+.2f} K, which alone makes {faked:+.0f} Pa"
    return measured("seal_pressure_loss", 0.06 * fall.rate, 0.06 * fall.uncertainty, note=note)


def _absolute(seal: Series) -> NDArray[np.float64]:
    return np.asarray(ATMOSPHERE_PA + 1000 * seal.values)


def _span(seal: Series) -> float:
    return float(seal.time_s[-1] - seal.time_s[0])


def _caution(seal: Series) -> str:
    faked = faked_by_temperature(float(_absolute(seal).mean()), ROOM_K, 0.5)
    return f"a change by 0.5 K alone would make {faked:.0f} Pa"
