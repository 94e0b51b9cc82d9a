"""What is known of a head before and after its runs, and how to draw from it."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from spinproof.model.head import HeadSpec
from spinproof.model.head_model import CannotSay, Fit, HeadModel, Origin, Parameter, Shape
from spinproof.model.software import SOFTWARE
from spinproof.predict.least_squares import Array, half_width

LOGARITHMIC = frozenset({"bowl_volume_l", "hold_up_g", "conductance_m3_s"})
"""Parameters whose fits are of logarithms."""
_SMALLEST = 1e-12

_ASSUMED = "assumed, no published value"
_USUAL = "common practice, no source"
_PRIORS: tuple[tuple[str, str, str, float, float, float, Shape, str], ...] = (
    (
        "hold_up_g",
        "water held up after spin-off",
        "g",
        1.0,
        3.873,
        15.0,
        Shape.LOG_UNIFORM,
        _ASSUMED,
    ),
    (
        "conductance_m3_s",
        "exchange conductance at 1000 rpm",
        "m3/s",
        1e-3,
        4.472e-3,
        2e-2,
        Shape.LOG_UNIFORM,
        _ASSUMED,
    ),
    (
        "bowl_heat_capacity_j_k",
        "heat capacity in touch with the water",
        "J/K",
        1500.0,
        3000.0,
        8000.0,
        Shape.TRIANGULAR,
        _ASSUMED,
    ),
    (
        "windage_w",
        "heat of windage at 2000 rpm",
        "W",
        10.0,
        50.0,
        200.0,
        Shape.TRIANGULAR,
        _ASSUMED,
    ),
    (
        "water_c",
        "temperature of water and room",
        "degC",
        18.0,
        21.0,
        25.0,
        Shape.TRIANGULAR,
        _USUAL,
    ),
    (
        "film_um",
        "film on the wafer at the end of the rinse",
        "um",
        20.0,
        77.46,
        300.0,
        Shape.LOG_UNIFORM,
        _ASSUMED,
    ),
    (
        "gas_exchange",
        "gas exchange between wafers against a free disk",
        "1",
        0.05,
        0.2236,
        1.0,
        Shape.LOG_UNIFORM,
        _ASSUMED,
    ),
    (
        "heater_heat_capacity_j_k",
        "heat capacity of the heater",
        "J/K",
        80.0,
        250.0,
        1000.0,
        Shape.TRIANGULAR,
        _ASSUMED,
    ),
    (
        "heater_loss_w_k",
        "loss of the heater to the room",
        "W/K",
        0.0,
        1.0,
        4.0,
        Shape.TRIANGULAR,
        _ASSUMED,
    ),
    ("drain_delay_s", "delay of the drain sensor", "s", 0.0, 1.0, 5.0, Shape.TRIANGULAR, _ASSUMED),
    (
        "drain_first_us_cm",
        "conductivity that the rinse begins with",
        "uS/cm",
        0.1,
        1.0,
        10.0,
        Shape.LOG_UNIFORM,
        _ASSUMED,
    ),
    (
        "feed_mohm_cm",
        "resistivity of the feed water",
        "MOhm.cm",
        17.0,
        17.8,
        18.18,
        Shape.TRIANGULAR,
        _USUAL,
    ),
)
"""Name, label, unit, lower end, value, upper end, shape, basis."""
_SPECIFIED = (
    ("inertia_kg_m2", "inertia of rotor and cassette", "kg.m2", 0.05),
    ("coulomb_torque_n_m", "drag that does not depend on speed", "N.m", 0.2),
    ("viscous_drag_n_m_s", "drag per speed", "N.m.s", 0.2),
    ("quadratic_drag_n_m_s2", "drag per squared speed", "N.m.s2", 0.2),
    ("bowl_volume_l", "liquid that dilutes up to the drain sensor", "L", 0.2),
    ("di_flow_lpm", "flow of the rinse", "L/min", 0.05),
    ("n2_flow_slm", "flow of nitrogen", "slm", 0.07),
    ("heater_w", "power of the heater", "W", 0.1),
)
"""Name, label, unit, and the tolerance that is assumed of a specified figure."""


def prior_model(head: HeadSpec) -> HeadModel:
    """Give what is thought of a head before any run.

    Parameters
    ----------
    head : HeadSpec
        The head with its specification.

    Returns
    -------
    HeadModel
        Specified figures with assumed tolerances, and priors for the rest.

    Notes
    -----
    Never raises. The ranges of hold-up, conductance and gas exchange are assumptions: no published
    value exists for a spin rinse dryer.
    """
    priors = tuple(
        Parameter(
            name=name, label=label, unit=unit, value=value, low=low, high=high, shape=shape,
            origin=Origin.PRIOR, basis=basis,
        )
        for name, label, unit, low, value, high, shape, basis in _PRIORS
    )  # fmt: skip
    return HeadModel(head=head, parameters=(*priors, *_specified(head)), software=SOFTWARE)


def _specified(head: HeadSpec) -> Iterable[Parameter]:
    figures = {**head.model_dump(), "bowl_volume_l": head.bowl_hold_up_l}
    for name, label, unit, tolerance in _SPECIFIED:
        value = float(figures[name])
        yield Parameter(
            name=name,
            label=label,
            unit=unit,
            value=value,
            low=value * (1 - tolerance),
            high=value * (1 + tolerance),
            shape=Shape.TRIANGULAR,
            origin=Origin.SPECIFIED,
            basis=f"head spec, ±{tolerance:.0%} assumed",
        )


def learnt(
    model: HeadModel,
    fits: Sequence[tuple[Fit, Mapping[str, float]]],
    cannot_say: Sequence[CannotSay],
) -> HeadModel:
    """Put what the runs said in place of what was thought before.

    Parameters
    ----------
    model : HeadModel
        What was known.
    fits : sequence of pairs
        Each fit with its estimates by parameter. [unit of each]
    cannot_say : sequence of CannotSay
        What the runs did not tell.

    Returns
    -------
    HeadModel
        The calibrated model.

    Notes
    -----
    Never raises. Of two fits of the same parameter the later one holds.
    """
    known = {each.name: each for each in model.parameters}
    for fit, values in fits:
        for i, name in enumerate(fit.parameters):
            known[name] = _calibrated(known[name], fit, values[name], fit.covariance[i][i])
    return model.model_copy(
        update={
            "parameters": tuple(known.values()),
            "fits": tuple(fit for fit, _ in fits),
            "cannot_say": tuple(cannot_say),
        }
    )


def _calibrated(before: Parameter, fit: Fit, value: float, variance: float) -> Parameter:
    reach = half_width(variance, fit.degrees)
    logarithmic = before.name in LOGARITHMIC
    low, high = value - reach, value + reach
    if logarithmic:
        low, high = value * np.exp(-reach), value * np.exp(reach)
    runs = len(fit.runs)
    return before.model_copy(
        update={
            "value": value,
            "low": float(low),
            "high": float(high),
            "shape": Shape.LOG_STUDENT if logarithmic else Shape.STUDENT,
            "origin": Origin.CALIBRATED,
            "basis": f"{fit.subject}, {runs} run{'s' if runs > 1 else ''}",
        }
    )


def groups_of(model: HeadModel) -> tuple[tuple[str, ...], ...]:
    """Give the parameters in groups that are independent of one another.

    Parameters
    ----------
    model : HeadModel
        What is known.

    Returns
    -------
    tuple of tuple of str
        The parameters of one fit together, every other one alone.

    Notes
    -----
    Never raises.
    """
    fitted: dict[str, str] = {name: fit.subject for fit in model.fits for name in fit.parameters}
    groups: dict[str, list[str]] = {}
    for each in model.parameters:
        groups.setdefault(fitted.get(each.name, each.name), []).append(each.name)
    return tuple(tuple(names) for names in groups.values())


def draw(model: HeadModel, generator: np.random.Generator, size: int) -> dict[str, Array]:
    """Draw heads that could be this one.

    Parameters
    ----------
    model : HeadModel
        What is known.
    generator : numpy.random.Generator
        Source of the draws, seeded by the caller.
    size : int
        Number of draws. [1]

    Returns
    -------
    dict of str to ndarray
        Values by parameter, none negative. [unit of each]

    Notes
    -----
    Never raises. The parameters of a fit are drawn together, by its covariance and Student's t;
    what falls below zero is put at zero.
    """
    drawn = {each.name: _alone(each, generator, size) for each in model.parameters}
    for fit in model.fits:
        covariance = np.array(fit.covariance)
        sizes, axes = np.linalg.eigh(covariance)
        normal = generator.standard_normal((size, len(sizes))) * np.sqrt(np.maximum(sizes, 0.0))
        wide = np.sqrt(fit.degrees / generator.chisquare(fit.degrees, size))
        moved = (normal @ axes.T) * wide[:, None]
        for i, name in enumerate(fit.parameters):
            each = model.parameter(name)
            if each.shape is Shape.LOG_STUDENT:
                drawn[name] = each.value * np.exp(moved[:, i])
            else:
                drawn[name] = np.maximum(each.value + moved[:, i], _SMALLEST)
    return drawn


def _alone(each: Parameter, generator: np.random.Generator, size: int) -> Array:
    if each.high <= each.low:
        return np.full(size, max(each.value, 0.0))
    if each.shape is Shape.LOG_UNIFORM:
        return np.exp(generator.uniform(np.log(each.low), np.log(each.high), size))
    middle = min(max(each.value, each.low), each.high)
    return generator.triangular(each.low, middle, each.high, size)
