"""Mixing volume of the bowl and delay of the drain sensor from the step when the water comes on."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spinproof.model.head_model import CalibrationRun, CannotSay, Fit, Residuals
from spinproof.predict.least_squares import LEAST_RUNS, Array, pooled
from spinproof.stats.least_squares import Fitted, fitted

SUBJECT = "drain step"
PARAMETERS = ("bowl_volume_l", "drain_delay_s")
LEAST_READINGS, LEAST_RATIO = 20, 1.5
"""Fewer readings, or a smaller ratio of first and last conductivity, say nothing. [1]"""


@dataclass(frozen=True, eq=False)
class DrainStep:
    """The drain of one rinse, from before the water comes on to the end of the rinse."""

    run: CalibrationRun
    time_s: Array
    """Moments of fresh readings, rising. [s]"""
    conductivity: Array
    """Conductivity at the drain, compensated or at one temperature. [S/m]"""
    flow_time_s: Array
    """Moments of the readings of the flow, rising. [s]"""
    flow_lpm: Array
    """Flow of the feed water. [L/min]"""
    flow_error: float = 0.0
    """Relative standard uncertainty of the flow, which all runs share. [1]"""


@dataclass(frozen=True)
class Mixing:
    """What the drain steps say of the bowl."""

    fit: Fit | None
    values: dict[str, float]
    """With ``drain_first_us_cm`` and ``drain_last_us_cm``, means of the conductivities."""
    cannot_say: tuple[CannotSay, ...]


def mixing_of(steps: Sequence[DrainStep]) -> Mixing:
    """Fit the mixing volume and the sensor's delay to the drain steps of several rinses.

    Parameters
    ----------
    steps : sequence of DrainStep
        The rinses, three or more.

    Returns
    -------
    Mixing
        Volume (as its logarithm in the covariance) and delay, by the scatter between the runs
        and the flow meter's own uncertainty.

    Notes
    -----
    Never raises on poor data: it says why it cannot say. One well-mixed reservoir; the tail of a
    slow pocket shows in the residuals. The delay can only be told from the dilution because the
    drain's plateau before the step is on the trace.

    References
    ----------
    .. [1] Mass balance of a stirred tank; any textbook of chemical engineering.
    """
    good, refused = [], []
    for step in steps:
        if (why := _unfit(step)) is not None:
            refused.append(f"run {step.run.run}: {why}")
        elif (found := _dilution(step)).is_singular:
            refused.append(f"run {step.run.run}: volume and delay cannot be told apart")
        else:
            good.append((step, found))
    if len(good) < LEAST_RUNS:
        return Mixing(None, {}, (_too_few(len(good), refused),))
    estimates = np.array([found.estimate for _, found in good])
    mean, covariance, degrees = pooled(estimates[:, :2])
    covariance[0, 0] += max(step.flow_error for step, _ in good) ** 2
    values = {
        "bowl_volume_l": float(np.exp(mean[0])),
        "drain_delay_s": float(mean[1]),
        "drain_first_us_cm": 1e4 * float(np.exp(estimates[:, 2]).mean()),
        "drain_last_us_cm": 1e4 * float(np.exp(estimates[:, 3]).mean()),
    }
    left = np.concatenate([found.residuals for _, found in good])
    fit = Fit(
        subject=SUBJECT,
        parameters=PARAMETERS,
        covariance=tuple(tuple(row) for row in covariance.tolist()),
        degrees=degrees,
        runs=tuple(step.run for step, _ in good),
        points=left.size,
        residual_rms=100 * float(np.sqrt(np.mean(left**2))),
        residual_unit="%",
        across="time, s",
        residuals=tuple(_residuals(step, found) for step, found in good),
        cautions=tuple(f"left out: {each}" for each in refused),
    )
    return Mixing(fit, values, ())


def _dilution(step: DrainStep) -> Fitted:
    """Fit ln V [L], delay [s], and the logarithms of the first and last conductivity."""
    time, seen = step.time_s, np.log(step.conductivity)
    spread = np.diff(step.flow_time_s) * (step.flow_lpm[1:] + step.flow_lpm[:-1]) / 120
    litres = np.concatenate([[0.0], np.cumsum(spread)])

    def left_over(p: Array) -> Array:
        through = np.interp(time - p[1], step.flow_time_s, litres)
        first, last = np.exp(p[2]), np.exp(p[3])
        kept = np.exp(-through * np.exp(-p[0]))
        return np.asarray(seen - np.log(last + (first - last) * kept))

    started = step.flow_time_s[np.argmax(litres > 0)]
    begin = float(seen[time <= started].mean()) if (time <= started).any() else float(seen[0])
    final = float(seen[-5:].mean())
    half = np.log((np.exp(begin) + np.exp(final)) / 2)
    passed = float(np.interp(time[np.argmax(seen < half)], step.flow_time_s, litres))
    start = np.array([np.log(max(passed, 0.01) / np.log(2)), 0.1, begin, final])
    return fitted(left_over, start, np.array([0.1, 0.2, 0.05, 0.05]))


def _unfit(step: DrainStep) -> str | None:
    if step.time_s.size < LEAST_READINGS:
        return f"{step.time_s.size} readings of the drain, {LEAST_READINGS} are needed"
    if not (step.flow_lpm > 0).any():
        return "the trace shows no flow of water"
    ratio = float(step.conductivity[:3].mean() / step.conductivity[-3:].mean())
    if ratio < LEAST_RATIO:
        return f"the drain's conductivity fell {ratio:.2f} times only: nothing to see"
    return None


def _too_few(good: int, refused: Sequence[str]) -> CannotSay:
    detail = f" ({'; '.join(refused)})" if refused else ""
    return CannotSay(
        subject="bowl mixing and delay of the drain sensor",
        why=f"{good} usable drain steps, {LEAST_RUNS} are needed to see the scatter{detail}",
        mend="Record rinses from before the water comes on, with flow and drain on the trace.",
    )


def _residuals(step: DrainStep, found: Fitted, points: int = 120) -> Residuals:
    every = max(step.time_s.size // points, 1)
    return Residuals(
        run=step.run.run,
        across=tuple(np.round((step.time_s - step.time_s[0])[::every], 2).tolist()),
        left_over=tuple(np.round(100 * found.residuals[::every], 4).tolist()),
    )
