"""Hold-up and conductance from weighings of interrupted runs, or from the vapour in the exhaust."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from spinproof.model.head_model import CalibrationRun, CannotSay, Fit, Residuals
from spinproof.physics.drying import DryingHistory, WetBowl, dry_hold_up, hold_up_course
from spinproof.predict.least_squares import LEAST_RUNS, Array, pooled
from spinproof.stats.least_squares import Fitted, fitted

PARAMETERS = ("hold_up_g", "conductance_m3_s")
STEPS = np.array([0.3, 0.3])
"""Natural change of the logarithms of both. [1]"""
LEAST_READINGS, LEAVES_PLATEAU = 20, 0.5
"""Readings of an exhaust, and the share of its highest rate below which it must fall. [1]"""
WORST_LOG = 0.5
"""Standard uncertainty of a logarithm above which a parameter is not said. [1]"""


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What a fit takes as given: the bowl's heat, and the state at which drying begins."""

    heat_capacity: float
    """[J/K]"""
    windage: float
    """At 2000 rpm. [W]"""
    temperature: float
    """Of water and bowl at first. [K]"""
    relative_error: tuple[float, float] = (0.0, 0.0)
    """Relative standard uncertainties of heat capacity and windage. [1]"""


@dataclass(frozen=True)
class Weighing:
    """One run that was stopped, and what cassette, wafers and slots then still held."""

    run: CalibrationRun
    left_g: float
    """Mass left, weighed less weighed dry. [g]"""
    after_s: float
    """Time from the end of spin-off to the stop; 0 right after spin-off. [s]"""
    speed: float
    """Angular speed in between. [rad/s]"""
    gas_flow: float
    """Mass flow of nitrogen in between. [kg/s]"""
    gas_temperature: float
    """Temperature of the nitrogen in between. [K]"""


@dataclass(frozen=True, eq=False)
class Exhaust:
    """The vapour that one run carried out, by a dew-point sensor and the flow."""

    run: CalibrationRun
    history: DryingHistory
    """Its moments are those of the readings."""
    vapour: Array
    """Mass of vapour carried out up to each moment. [kg]"""


@dataclass(frozen=True)
class HoldUp:
    """What weighings or the exhaust say of the hold-up."""

    fit: Fit | None
    values: dict[str, float]
    cannot_say: tuple[CannotSay, ...]


def hold_up_by_weighing(weighings: Sequence[Weighing], given: Surroundings) -> HoldUp:
    """Fit hold-up and conductance to weighings of runs that were stopped at different times.

    Parameters
    ----------
    weighings : sequence of Weighing
        Four or more; some right after spin-off, some while water is still held.
    given : Surroundings
        Heat of the bowl; its uncertainty goes into the result. [SI]

    Returns
    -------
    HoldUp
        Covariances are of logarithms.

    Notes
    -----
    Never raises on poor data: it says why it cannot say. Weighings that all come from after the
    end of drying, or all from the start, leave one of the two free.

    References
    ----------
    .. [1] JCGM 100:2008, 5.1.2, for what is given and uncertain.
    """
    if len(weighings) < LEAST_RUNS + 1:
        return _cannot(f"{len(weighings)} weighings, {LEAST_RUNS + 1} are needed")
    left = np.array([each.left_g for each in weighings])
    ends = np.array([each.after_s for each in weighings])
    history = DryingHistory(
        np.stack([np.zeros(ends.size), ends]),
        *(np.array([[x, x] for x in values]).T for values in _conditions(weighings)),
    )

    def left_over_given(p: Array, heat: Array) -> Array:
        bowl = _bowl(p, heat, given)
        return np.asarray(left - 1e3 * dry_hold_up(history, bowl, 0.0).mass)

    found = _with_given(left_over_given, np.array([max(left.max(), 0.1), 5e-3]), given)
    why = _undecided(found)
    if why is not None and not found.spread[0] <= WORST_LOG:
        return _cannot(f"{why}: weigh some runs right after spin-off and some half dry")
    residuals = Residuals(
        run="all weighings",
        across=tuple(np.round(ends, 2).tolist()),
        left_over=tuple(np.round(found.residuals, 5).tolist()),
    )
    said = _said("weighings", found, [w.run for w in weighings], (residuals,))
    return said if why is None else _hold_up_alone(said, why)


def _conditions(weighings: Sequence[Weighing]) -> Array:
    return np.array([[w.speed, w.gas_flow, w.gas_temperature] for w in weighings]).T


def _hold_up_alone(said: HoldUp, why: str) -> HoldUp:
    """Keep the hold-up where the weighings leave the conductance open."""
    if said.fit is None:
        return said
    only = said.fit.model_copy(
        update={"parameters": PARAMETERS[:1], "covariance": ((said.fit.covariance[0][0],),)}
    )
    mend = "Weigh more runs that were stopped near the end of their drying."
    open_ = CannotSay(subject="conductance", why=why, mend=mend)
    return HoldUp(only, {"hold_up_g": said.values["hold_up_g"]}, (open_,))


def hold_up_by_exhaust(exhausts: Sequence[Exhaust], given: Surroundings) -> HoldUp:
    """Fit hold-up and conductance to the vapour that left through the exhaust of several runs.

    Parameters
    ----------
    exhausts : sequence of Exhaust
        Three or more runs, each watched to the end of its drying.
    given : Surroundings
        Heat of the bowl; its uncertainty goes into the result. [SI]

    Returns
    -------
    HoldUp
        Covariances are of logarithms.

    Notes
    -----
    Never raises on poor data: it says why it cannot say. Hold-up and conductance are separable
    only once the exhaust leaves its saturated plateau.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2 (scatter between the runs) and 5.1.2 (what is given and uncertain).
    """
    good: list[tuple[Exhaust, Fitted]] = []
    refused = []
    for each in exhausts:
        if (why := _plateau(each)) is not None:
            refused.append(f"run {each.run.run}: {why}")
            continue
        found = _vapour_fit(each, given)
        if (why := _undecided(found)) is None:
            good.append((each, found))
        else:
            refused.append(f"run {each.run.run}: {why}")
    if len(good) < LEAST_RUNS:
        detail = f" ({'; '.join(refused)})" if refused else ""
        return _cannot(f"{len(good)} usable exhaust records, {LEAST_RUNS} are needed{detail}")
    mean, covariance, degrees = pooled(np.array([found.estimate for _, found in good]))
    shared = np.mean([found.total - found.covariance for _, found in good], axis=0)
    left = np.concatenate([found.residuals for _, found in good])
    all_runs = Fitted(mean, covariance, left, degrees, shared)
    residuals = tuple(_residuals(each, found) for each, found in good)
    return _said("exhaust", all_runs, [each.run for each, _ in good], residuals)


def _bowl(p: Array, heat: Array, given: Surroundings) -> WetBowl:
    """Give the wet bowl for logarithms of hold-up and conductance."""
    return WetBowl(1e-3 * np.exp(p[0]), np.exp(p[1]), heat[0], heat[1], given.temperature)


def _plateau(exhaust: Exhaust) -> str | None:
    """Say why an exhaust does not show the end of its drying, or None when it does."""
    time = np.asarray(exhaust.history.time, dtype=np.float64)
    if time.size < LEAST_READINGS:
        return f"{time.size} readings, {LEAST_READINGS} are needed"
    parts = np.array_split(np.arange(time.size), 5)
    rates = [np.ptp(exhaust.vapour[part]) / np.ptp(time[part]) for part in parts]
    if max(rates) <= 0:
        return "the exhaust carried no vapour"
    if rates[-1] > LEAVES_PLATEAU * max(rates):
        return "the exhaust never left its plateau: hold-up and conductance show at its end only"
    return None


def _vapour_fit(exhaust: Exhaust, given: Surroundings) -> Fitted:
    total = 1e3 * float(exhaust.vapour[-1])

    def left_over_given(p: Array, heat: Array) -> Array:
        course = hold_up_course(exhaust.history, _bowl(p, heat, given)).mass
        return np.asarray(1e3 * (exhaust.vapour - (course[0] - course)))

    return _with_given(left_over_given, np.array([max(total, 0.1), 5e-3]), given)


def _with_given(
    left_over: Callable[[Array, Array], Array], start: Array, given: Surroundings
) -> Fitted:
    """Fit logarithms, and add what the uncertain surroundings shift."""
    heat = np.array([given.heat_capacity, given.windage])
    found = fitted(partial(_swapped, left_over, heat), np.log(start), STEPS)
    if found.is_singular:
        return found
    shifts = []
    for i, relative in enumerate(given.relative_error):
        if relative > 0:
            moved = heat.copy()
            moved[i] *= 1 + relative
            again = fitted(partial(_swapped, left_over, moved), found.estimate, STEPS)
            shifts.append(again.estimate - found.estimate)
    shared = sum((np.outer(s, s) for s in shifts), np.zeros((2, 2)))
    return replace(found, shared=shared)


def _swapped(left_over: Callable[[Array, Array], Array], heat: Array, p: Array) -> Array:
    return left_over(p, heat)


def _undecided(found: Fitted) -> str | None:
    if found.is_singular:
        return "hold-up and conductance cannot be told apart"
    for name, each in zip(("hold-up", "conductance"), found.spread.tolist(), strict=True):
        if not each <= WORST_LOG:
            return f"the {name} stays open within a factor of {np.exp(2 * min(each, 9.0)):.1f}"
    return None


def _said(
    subject: str,
    found: Fitted,
    runs: Sequence[CalibrationRun],
    residuals: tuple[Residuals, ...],
) -> HoldUp:
    fit = Fit(
        subject=subject,
        parameters=PARAMETERS,
        covariance=tuple(tuple(row) for row in found.total.tolist()),
        degrees=found.degrees,
        runs=tuple(runs),
        points=found.residuals.size,
        residual_rms=float(np.sqrt(np.mean(found.residuals**2))),
        residual_unit="g",
        across="time of drying, s",
        residuals=residuals,
        cautions=("holds for this cassette and number of wafers only",),
    )
    return HoldUp(fit, dict(zip(PARAMETERS, np.exp(found.estimate).tolist(), strict=True)), ())


def _cannot(why: str) -> HoldUp:
    mend = (
        "Weigh cassette and wafers dry, after spin-off and after some minutes (0.1 g), or put a "
        "dew-point sensor into the exhaust."
    )
    return HoldUp(None, {}, (CannotSay(subject="hold-up and conductance", why=why, mend=mend),))


def _residuals(exhaust: Exhaust, found: Fitted, points: int = 120) -> Residuals:
    time = np.asarray(exhaust.history.time)
    every = max(time.size // points, 1)
    return Residuals(
        run=exhaust.run.run,
        across=tuple(np.round((time - time[0])[::every], 2).tolist()),
        left_over=tuple(np.round(found.residuals[::every], 4).tolist()),
    )
