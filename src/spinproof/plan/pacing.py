"""Runs one after the other: shifts, cooling of drive and heater, what is used up along the way."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from spinproof.model.errors import PlanError
from spinproof.model.head import HeadSpec
from spinproof.model.plan import Budgets, PlannedRun
from spinproof.model.plan_quality import Along
from spinproof.model.recipe import Recipe
from spinproof.plan.region import mean_squared_speed

WHOLE_S = 60.0
"""Pauses are given in whole minutes. [s]"""


@dataclass(frozen=True)
class Use:
    """What one run uses up.

    Attributes
    ----------
    time_s : float
        Its recipe's time. [s]
    water_l : float
        DI water at nominal flow. [L]
    nitrogen_m3 : float
        Nitrogen at nominal flow, at 0 degC and 101.325 kPa. [m³]
    """

    time_s: float
    water_l: float
    nitrogen_m3: float


def use_of(recipe: Recipe, head: HeadSpec) -> Use:
    """Give what a recipe uses up on a head at its nominal flows.

    Parameters
    ----------
    recipe : Recipe
        Any recipe.
    head : HeadSpec
        Gives the flows.

    Returns
    -------
    Use
        Time, water and nitrogen.
    """
    water = sum(step.duration_s for step in recipe.steps if step.water)
    nitrogen = sum(step.duration_s for step in recipe.steps if step.nitrogen)
    return Use(
        recipe.process_time_s(),
        head.di_flow_lpm * water / 60,
        head.n2_flow_slm * nitrogen / 60_000,
    )


def cycling_peak(on_s: float, off_s: float, time_constant_s: float) -> float:
    r"""Peak warmth under endless cycling, as a share of that of steady running.

    .. math:: \frac{1 - e^{-t_{on}/\tau}}{1 - e^{-(t_{on}+t_{off})/\tau}}

    Parameters
    ----------
    on_s, off_s : float
        Time on and time off of a cycle. [s]
    time_constant_s : float
        Thermal time constant. [s]

    Returns
    -------
    float
        The share; one without a pause. [1]

    Notes
    -----
    A body of one time constant; the duty type S3 of IEC 60034-1 has the same picture.
    """
    return math.expm1(-on_s / time_constant_s) / math.expm1(-(on_s + off_s) / time_constant_s)


def paced(runs: Sequence[PlannedRun], head: HeadSpec, budgets: Budgets) -> tuple[PlannedRun, ...]:
    """Give runs their numbers in order, put in pauses to cool, and divide them into shifts.

    The order is left alone: where the drive would get too warm, a longer pause comes before the
    run, so that a randomised order stays one.

    Parameters
    ----------
    runs : sequence of PlannedRun
        The runs in order.
    head : HeadSpec
        Gives the duty limit.
    budgets : Budgets
        Pauses, length of a shift and thermal limits.

    Returns
    -------
    tuple of PlannedRun
        The runs with number, pause and block.

    Raises
    ------
    PlanError
        If a run warms a cold drive beyond the ceiling.
    """
    done, warmth, clock, block = list[PlannedRun](), 0.0, 0.0, 1
    shift, tau = 3600 * budgets.shift_h, budgets.thermal_time_constant_s
    for i, run in enumerate(runs):
        time, strain = run.recipe.process_time_s(), drive_strain(run.recipe, head)
        allowed = strain + (budgets.thermal_ceiling - strain) * math.exp(time / tau)
        if allowed <= 0:
            raise PlanError(
                f"{run.recipe.name} warms a cold drive beyond {budgets.thermal_ceiling:.0%} of "
                "what its duty limit means for ever",
                where=f"plan for head {head.designation}",
                mend="Raise the thermal ceiling, or narrow speeds and times of the envelope.",
            )
        rested = warmth * math.exp(-budgets.turnaround_s / tau) if i else 0.0
        pause = 0.0
        if rested > allowed:
            pause = WHOLE_S * math.ceil(tau * math.log(rested / allowed) / WHOLE_S)
        begin = clock + (budgets.turnaround_s if i else 0.0) + pause
        if begin + time > shift and clock > 0:
            block, begin = block + 1, 0.0
        clock = begin + time
        start = rested * math.exp(-pause / tau)
        warmth = strain + (start - strain) * math.exp(-time / tau)
        done.append(run.model_copy(update={"number": i + 1, "pause_s": pause, "block": block}))
    return tuple(done)


def drive_strain(recipe: Recipe, head: HeadSpec) -> float:
    """Warmth that a recipe without end would give the drive, as a share of its duty limit.

    Parameters
    ----------
    recipe : Recipe
        Any recipe.
    head : HeadSpec
        Gives the duty limit.

    Returns
    -------
    float
        The share. [1]
    """
    return mean_squared_speed(recipe) / head.envelope.duty_limit_rpm2


def heater_share(recipe: Recipe) -> float:
    """Share of a recipe's time with the heater on.

    Parameters
    ----------
    recipe : Recipe
        Any recipe.

    Returns
    -------
    float
        The share. [1]
    """
    on = sum(step.duration_s for step in recipe.steps if step.heater_c)
    return on / recipe.process_time_s()


def along(runs: Iterable[PlannedRun], head: HeadSpec, budgets: Budgets) -> tuple[Along, ...]:
    """Follow what a plan uses up, and how warm drive and heater get.

    Parameters
    ----------
    runs : iterable of PlannedRun
        The runs in order, with their pauses.
    head : HeadSpec
        Gives flows and the duty limit.
    budgets : Budgets
        Gives turnaround and thermal time constant.

    Returns
    -------
    tuple of Along
        One for each run, with sums from the first run on.
    """
    steps, end, water, nitrogen, drive, heater = list[Along](), 0.0, 0.0, 0.0, 0.0, 0.0
    for i, run in enumerate(runs):
        use = use_of(run.recipe, head)
        rest = (budgets.turnaround_s if i else 0.0) + run.pause_s
        cooled = math.exp(-rest / budgets.thermal_time_constant_s)
        warmed = math.exp(-use.time_s / budgets.thermal_time_constant_s)
        strain, heat = drive_strain(run.recipe, head), heater_share(run.recipe)
        drive = strain + (drive * cooled - strain) * warmed
        heater = heat + (heater * cooled - heat) * warmed
        begin, end = end + rest, end + rest + use.time_s
        water, nitrogen = water + use.water_l, nitrogen + use.nitrogen_m3
        steps.append(Along(run.number, begin, end, water, nitrogen, drive, heater))
    return tuple(steps)
