"""Drag and inertia from coast-downs: each run by the moments of its tach pulses, then all runs."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spinproof.model.head_model import CalibrationRun, CannotSay, Fit, Residuals
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.predict.least_squares import LEAST_RUNS, Array, pooled
from spinproof.signals.coast_down import decelerations, unfit
from spinproof.stats.least_squares import Fitted
from spinproof.stats.straight_line import calibration_line

SUBJECT = "coast-down"
DRAG = ("coulomb_torque_n_m", "viscous_drag_n_m_s", "quadratic_drag_n_m_s2")
INERTIA = "inertia_kg_m2"
WORST_INERTIA = 0.1
"""Relative standard uncertainty above which an inertia from loads is not said. [1]"""


@dataclass(frozen=True, eq=False)
class Coast:
    """One coast-down: the rotor turns, and nothing drives or brakes it but its drag."""

    run: CalibrationRun
    moment_s: Array
    """Moments at which the angle is known, rising. [s]"""
    angle: Array
    """Angle turned at those moments. [rad]"""
    added_inertia: float
    """Inertia of wafers, or of a ring, on top of the rotor's own. [kg m²]"""


@dataclass(frozen=True)
class CoastDowns:
    """What a head's coast-downs say of its drag, and of its inertia where they can."""

    fit: Fit | None
    values: dict[str, float]
    cannot_say: tuple[CannotSay, ...]


def drag_of(coasts: Sequence[Coast], inertia: float) -> CoastDowns:
    """Fit drag terms, and the inertia where known inertias were added, to coast-downs.

    Parameters
    ----------
    coasts : sequence of Coast
        The coast-downs, three or more.
    inertia : float
        Inertia of rotor and cassette by the head's specification, used where the runs
        themselves do not tell. [kg m²]

    Returns
    -------
    CoastDowns
        Estimates with their covariance by the scatter between the runs, and what cannot be said.

    Notes
    -----
    Never raises on poor data: it says why it cannot say. A coast-down gives drag over inertia
    only; the inertia itself shows when a known one is added.

    References
    ----------
    .. [1] SAE J1263, road-load coast-down, uses the same three terms (from memory).
    """
    good, refused = [], []
    for coast in coasts:
        if (why := unfit(coast.moment_s, coast.angle)) is not None:
            refused.append(f"run {coast.run.run}: {why}")
        elif (found := decelerations(coast.moment_s, coast.angle)).is_singular:
            refused.append(f"run {coast.run.run}: its drag terms cannot be told apart")
        else:
            good.append((coast, found))
    if len(good) < LEAST_RUNS:
        return CoastDowns(None, {}, (_too_few(len(good), refused),))
    return _from_runs(good, inertia, tuple(refused))


def _too_few(good: int, refused: Sequence[str]) -> CannotSay:
    detail = f" ({'; '.join(refused)})" if refused else ""
    return CannotSay(
        subject="drag and inertia",
        why=f"{good} usable coast-downs, {LEAST_RUNS} are needed to see the scatter{detail}",
        mend="Record undriven coast-downs from above 1000 rpm to the positioner's speed.",
    )


def _from_runs(
    good: list[tuple[Coast, Fitted]], spec_inertia: float, refused: tuple[str, ...]
) -> CoastDowns:
    rates = np.array([found.estimate for _, found in good])
    added = np.array([coast.added_inertia for coast, _ in good])
    speeds = [np.ptp(c.angle) / np.ptp(c.moment_s) for c, _ in good]
    told = _inertia_of(rates @ np.float64(np.mean(speeds)) ** np.arange(3), added)
    inertia, spread = told if told is not None else (spec_inertia, 0.0)
    torques, covariance, degrees = pooled(rates * (inertia + added)[:, None])
    names: tuple[str, ...] = DRAG
    cannot: tuple[CannotSay, ...] = (_no_inertia(added),)
    values = dict(zip(DRAG, torques.tolist(), strict=True))
    if told is not None:
        along = np.array([*rates.mean(axis=0), 1.0])
        covariance = np.pad(covariance, (0, 1)) + spread**2 * np.outer(along, along)
        names, cannot, degrees = (*DRAG, INERTIA), (), degrees - 1
        values[INERTIA] = inertia
    left = np.concatenate([found.residuals for _, found in good])
    fit = Fit(
        subject=SUBJECT,
        parameters=names,
        covariance=tuple(tuple(row) for row in covariance.tolist()),
        degrees=degrees,
        runs=tuple(coast.run for coast, _ in good),
        points=left.size,
        residual_rms=1e6 * float(np.sqrt(np.mean(left**2))),
        residual_unit="us",
        across="speed, rpm",
        residuals=tuple(_residuals(coast, found) for coast, found in good),
        cautions=_cautions(told is not None, added, refused, values, covariance),
    )
    return CoastDowns(fit, values, cannot)


def _inertia_of(deceleration: Array, added: Array) -> tuple[float, float] | None:
    """Give the rotor's inertia and its standard uncertainty from 1/α = (J + ΔJ)/T, if it shows."""
    if np.ptp(added) <= 0 or added.size < LEAST_RUNS + 1:
        return None
    line = calibration_line(added, 1 / deceleration)
    if line.slope <= 0 or line.intercept <= 0:
        return None
    inertia = line.intercept / line.slope
    u, v = line.intercept_uncertainty / line.intercept, line.slope_uncertainty / line.slope
    relative = float(np.sqrt(max(u * u + v * v - 2 * line.correlation * u * v, 0.0)))
    return (inertia, relative * inertia) if relative <= WORST_INERTIA else None


def _no_inertia(added: Array) -> CannotSay:
    differ = float(np.ptp(added))
    why = (
        "all coast-downs have the same inertia, and a coast-down gives drag over inertia only"
        if differ == 0
        else f"the loads differ by {differ:.2g} kg m² only, which the scatter of the drag hides"
    )
    return CannotSay(
        subject="inertia, apart from drag",
        why=f"{why}; the drag torques are scaled with the specified inertia",
        mend="Add runs with a ring of known inertia, a fifth of the rotor's or more.",
    )


def _cautions(
    told: bool,  # noqa: FBT001 - a private word between two functions
    added: Array,
    refused: tuple[str, ...],
    values: dict[str, float],
    covariance: Array,
) -> tuple[str, ...]:
    cautions = [f"left out: {each}" for each in refused]
    if told and np.ptp(added) > 0:
        cautions.append("the drag is taken as the same with every load; wafers that fan break that")
    for i, name in enumerate(DRAG):
        if abs(values[name]) < 2 * float(np.sqrt(covariance[i, i])):
            cautions.append(f"{name} cannot be told from zero")
    return tuple(cautions)


def _residuals(coast: Coast, found: Fitted, points: int = 120) -> Residuals:
    """Thin the residuals of one run for a plot, against the speed in rpm and in microseconds."""
    step = max(coast.moment_s.size // points, 1)
    speed = np.gradient(coast.angle, coast.moment_s) / RAD_PER_S_PER_RPM
    return Residuals(
        run=coast.run.run,
        across=tuple(np.round(speed[::step], 2).tolist()),
        left_over=tuple(np.round(1e6 * found.residuals[::step], 3).tolist()),
    )
