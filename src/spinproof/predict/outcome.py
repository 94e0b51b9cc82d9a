"""What draws of a head do with a recipe: hold-up, film, drain and utilities as arrays."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.physics.drying import DryingHistory, WetBowl, dry_hold_up, hold_up_course
from spinproof.physics.film_drying import FilmCourse, dry_film
from spinproof.physics.gas_exchange import (
    film_evaporation,
    transfer_velocity,
    vapour_diffusivity,
)
from spinproof.physics.nitrogen import gas_density, gas_viscosity, mass_flow_of
from spinproof.physics.rinse import conductivity_of, diluted_conductivity, resistivity_of
from spinproof.physics.rotor import drag_torque, rotational_energy
from spinproof.physics.utilities import run_utilities
from spinproof.physics.wafer import wafer_inertia
from spinproof.physics.water import kinematic_viscosity
from spinproof.predict.least_squares import Array
from spinproof.predict.timeline import KELVIN, Timeline, gas_of, timeline, wet_until

DRY_G = 0.1
"""Residual that counts as dry unless another is asked for. [g]"""


@dataclass(frozen=True)
class Task:
    """A recipe on a head with a load."""

    recipe: Recipe
    head: HeadSpec
    load: Load
    dry_g: float = DRY_G
    fine: bool = False
    """Whether its courses are to be drawn."""

    @cached_property
    def line(self) -> Timeline:
        """The recipe over time."""
        return timeline(self.recipe, fine=self.fine)

    @cached_property
    def drying(self) -> Timeline | None:
        """The part after the last water, or None when none dries with nitrogen."""
        wet = wet_until(self.recipe)
        part = None if wet is None else self.line.after(wet)
        return part if part is not None and part.gas.any() else None

    @cached_property
    def added_inertia(self) -> float:
        """Inertia of the wafers about the rotor axis, in kg m²."""
        mass, diameter = 1e-3 * self.load.wafer_mass_g, 1e-3 * self.head.wafer_diameter_mm
        if self.load.wafer_count == 0:
            return 0.0
        offset = self.head.wafer_edge_radius_m - diameter / 2
        one = float(wafer_inertia(mass, diameter)) + mass * offset**2
        return self.load.wafer_count * one


Known = Mapping[str, Array]
"""Draws of a head's parameters, by name."""


def history_of(line: Timeline, known: Known) -> DryingHistory:
    """Give what a timeline does to the hold-up, for draws of the head.

    Parameters
    ----------
    line : Timeline
        From the last water on.
    known : mapping of str to ndarray
        Draws of the head's parameters. [unit of each]

    Returns
    -------
    DryingHistory
        In SI.

    Notes
    -----
    Never raises.
    """
    flow, temperature = gas_of(line, known)
    return DryingHistory(line.time_s, line.speed, flow, KELVIN + temperature)


def bowl_of(known: Known) -> WetBowl:
    """Give the wet bowl of each draw.

    Parameters
    ----------
    known : mapping of str to ndarray
        Draws of the head's parameters. [unit of each]

    Returns
    -------
    WetBowl
        In SI.

    Notes
    -----
    Never raises.
    """
    return WetBowl(
        1e-3 * known["hold_up_g"],
        known["conductance_m3_s"],
        known["bowl_heat_capacity_j_k"],
        known["windage_w"],
        KELVIN + known["water_c"],
    )


def dry_moments(task: Task, known: Known) -> Array:
    """Moment from the start of the recipe at which the hold-up is dry; the last step goes on.

    Parameters
    ----------
    task : Task
        The recipe.
    known : mapping of str to ndarray
        Draws of the head's parameters. [unit of each]

    Returns
    -------
    ndarray
        Moment for each draw, infinite beyond the half hour looked ahead. [s]

    Raises
    ------
    OutOfRangeError
        If the hold-up's law does not hold for a draw.
    """
    if task.drying is None:
        return np.full(known["hold_up_g"].size, np.inf)
    history = history_of(task.drying.prolonged(), known)
    return dry_hold_up(history, bowl_of(known), 1e-3 * task.dry_g).dry_time


def residuals_g(task: Task, known: Known) -> Array:
    """Water that is left when the recipe ends.

    Parameters
    ----------
    task : Task
        The recipe.
    known : mapping of str to ndarray
        Draws of the head's parameters. [unit of each]

    Returns
    -------
    ndarray
        Mass for each draw. [g]

    Raises
    ------
    OutOfRangeError
        If the hold-up's law does not hold for a draw.
    """
    if task.drying is None:
        return np.asarray(known["hold_up_g"])
    return 1e3 * dry_hold_up(history_of(task.drying, known), bowl_of(known), 0.0).mass


def hold_up_g(task: Task, known: Known) -> tuple[Array, Array]:
    """Water held up over time.

    Parameters
    ----------
    task : Task
        The recipe, with a dry stage.
    known : mapping of str to ndarray
        Draws of the head's parameters. [unit of each]

    Returns
    -------
    tuple of ndarray
        Moments [s], and mass with a row for each [g].

    Raises
    ------
    OutOfRangeError
        If the hold-up's law does not hold for a draw.
    """
    line = task.drying or task.line
    return line.time_s, 1e3 * hold_up_course(history_of(line, known), bowl_of(known)).mass


def film(task: Task, known: Known) -> tuple[Array, FilmCourse]:
    """Film on a wetting wafer over time.

    Parameters
    ----------
    task : Task
        The recipe, with a dry stage.
    known : mapping of str to ndarray
        Draws of the head's parameters. [unit of each]

    Returns
    -------
    tuple
        Moments [s], and the film's course [m, s].

    Raises
    ------
    OutOfRangeError
        If the film's law does not hold for a draw.

    Notes
    -----
    Evaporation by the free laminar disk, at the temperature of the water, times the share of gas
    exchange that the neighbours leave.

    References
    ----------
    .. [1] E. M. Sparrow and J. L. Gregg, J. Heat Transfer 81, 249 (1959).
    """
    line = task.drying or task.line
    T = KELVIN + known["water_c"]
    at_one = transfer_velocity(1.0, vapour_diffusivity(T), gas_viscosity(T) / gas_density(T))
    lost = film_evaporation(at_one, T, known["gas_exchange"]) * np.sqrt(line.speed)[:, None]
    start = 1e-6 * known["film_um"]
    return line.time_s, dry_film(line.time_s, line.speed, lost, start, kinematic_viscosity(T))


def drain_mohm_cm(task: Task, known: Known) -> Array:
    """Resistivity at the drain over the recipe's own moments.

    Parameters
    ----------
    task : Task
        The recipe.
    known : mapping of str to ndarray
        Draws of the head's parameters. [unit of each]

    Returns
    -------
    ndarray
        A row for each moment of the timeline, at 25 °C. [MΩ cm]

    Notes
    -----
    Never raises for draws above zero. Between waters the reading is taken to stay.
    """
    line = task.line
    wet = np.concatenate([[0.0], np.cumsum(np.diff(line.time_s) * line.water[:-1])])
    through = np.maximum(wet[:, None] - known["drain_delay_s"], 0.0)
    feed = conductivity_of(known["feed_mohm_cm"])
    first = np.maximum(1e-4 * known["drain_first_us_cm"], feed)
    flow, volume = known["di_flow_lpm"] / 60e3, 1e-3 * known["bowl_volume_l"]
    return np.asarray(resistivity_of(diluted_conductivity(first, feed, flow, volume, through)))


def utilities(task: Task, known: Known) -> dict[str, Array]:
    """Work out what a run takes.

    Parameters
    ----------
    task : Task
        The recipe.
    known : mapping of str to ndarray
        Draws of the head's parameters. [unit of each]

    Returns
    -------
    dict of str to ndarray
        ``water_l``, ``nitrogen_sl``, ``nitrogen_kg``, ``heat_kwh``, ``drive_kwh``, and
        ``kinetic_j`` of the loaded rotor at its top speed.

    Raises
    ------
    OutOfRangeError
        If a drag or an inertia is negative.

    Notes
    -----
    Braking gives nothing back. The heater warms the gas and itself, and loses to the room.
    """
    line = task.line
    flow, temperature = gas_of(line, known)
    heated = np.isfinite(line.setpoint_c)[:, None]
    rise = np.maximum(temperature - known["water_c"], 0.0) * heated
    inertia = known["inertia_kg_m2"] + task.added_inertia
    used = run_utilities(
        line.time_s,
        line.water[:, None] * known["di_flow_lpm"] / 60e3,
        flow,
        rise,
        line.speed,
        drag_torque(line.speed[:, None], *(known[name] for name in _DRAG)),
        inertia,
    )
    lost = np.diff(line.time_s) @ rise[1:] * known["heater_loss_w_k"]
    warmed = np.maximum(np.diff(temperature, axis=0), 0.0) * heated[1:]
    stored = warmed.sum(axis=0) * known["heater_heat_capacity_j_k"]
    return {
        "water_l": 1e3 * used.water,
        "nitrogen_sl": used.nitrogen / mass_flow_of(1.0) / 60,
        "nitrogen_kg": used.nitrogen,
        "heat_kwh": (used.gas_heat + lost + stored) / 3.6e6,
        "drive_kwh": used.rotor_work / 3.6e6,
        "kinetic_j": rotational_energy(inertia, float(line.speed.max())),
    }


_DRAG = ("coulomb_torque_n_m", "viscous_drag_n_m_s", "quadratic_drag_n_m_s2")
