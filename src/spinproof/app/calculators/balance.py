"""Balancing in one or two planes: readings in, corrections out, and what is left."""

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinproof.app.calculators import residual_of_balance, runs_of_balance
from spinproof.app.calculators.calculator import (
    Answer,
    Calculator,
    Inputs,
    Value,
    Words,
    cannot_say,
    choice,
    number,
    quantity,
)
from spinproof.app.calculators.runs_of_balance import Runs, read_runs
from spinproof.figures.polar_plot import PolarPlane, PolarVector, Shape, polar_plot
from spinproof.model.quantity import UNITS, Dimension
from spinproof.physics.balancing import (
    HIGHEST_CONDITION,
    LEAST_CHANGE,
    WARNING_CONDITION,
    Correction,
    TrialRuns,
    correct,
    influence,
    trial_change,
    weakest_plane,
)
from spinproof.physics.balancing_spread import Spread, correction_spread, residual_spread
from spinproof.physics.trial_mass import split_to_neighbours

WAYS = ("against the rotation", "with the rotation")
MOST_HOLES = 360
MOST_DRIFT = 0.05
"""Relative change of the run as found that is still called the same rotor. Common practice."""
GRAM, GRAM_MM, DEGREE = UNITS["g"].factor, UNITS["g.mm"].factor, UNITS["deg"].factor


@dataclass(frozen=True)
class _Job:
    """A balancing job, worked out."""

    runs: Runs
    correction: Correction
    radii: tuple[float, ...]
    to_add: NDArray[np.complex128]
    """By plane, besides trial masses that stay on. [kg m]"""
    spread: Spread | None
    left: tuple[complex | None, ...]
    """Residual by plane from the run after correction. [kg m]"""
    left_spread: float | None
    weak_plane: int | None
    changes: tuple[float, ...]

    @property
    def planes(self) -> range:
        """Numbers of the planes."""
        return range(1, len(self.radii) + 1)


def _worked_out(inputs: Inputs) -> _Job:
    runs = read_runs(inputs)
    trials = [trial for trial, _ in runs.trials]
    shown = TrialRuns(
        found=runs.found,
        trials=np.array([column for _, column in runs.trials]),
        unbalances=np.array([trial.unbalance for trial in trials]),
        kept=np.array([trial.stays for trial in trials]),
    )
    alpha = influence(shown.found, shown.trials, shown.unbalances, shown.kept)
    correction = correct(runs.found, alpha)
    left, left_spread = _residual(runs, shown, inputs)
    known = _known(inputs)
    return _Job(
        runs=runs,
        correction=correction,
        radii=tuple(inputs.maybe(f"radius_{t.plane}") or t.radius for t in trials),
        to_add=correction.added - np.where(shown.kept, shown.unbalances, 0.0),
        spread=correction_spread(shown, relative=known[0], phase=known[1]) if known else None,
        left=left,
        left_spread=left_spread,
        weak_plane=weakest_plane(alpha) + 1 if len(trials) > 1 else None,
        changes=tuple(_changes(runs)),
    )


def _known(inputs: Inputs) -> tuple[float, float] | None:
    """Give the uncertainty of amplitudes, relative, and of phases; None when neither is typed."""
    relative, phase = inputs.maybe("reading_u"), inputs.maybe("phase_u")
    return None if relative is None and phase is None else (relative or 0.0, phase or 0.0)


def _residual(
    runs: Runs, shown: TrialRuns, inputs: Inputs
) -> tuple[tuple[complex | None, ...], float | None]:
    """Give what the run after correction shows by plane, and its standard uncertainty."""
    if runs.check is None:
        return tuple(None for _ in runs.trials), None
    known, floor = _known(inputs), inputs.maybe("floor")
    relative, phase = known or (0.0, 0.0)
    residual, spread = residual_spread(
        runs.check, shown, relative=relative, phase=phase, floor=floor or 0.0
    )
    told = known is not None and floor is not None
    return tuple(complex(u) for u in residual), float(max(spread.vector)) if told else None


def _changes(runs: Runs) -> Iterator[float]:
    base = runs.found
    for trial, readings in runs.trials:
        yield trial_change(base, readings)
        base = readings if trial.stays else base


def _compute(inputs: Inputs) -> Answer:
    job = _worked_out(inputs)
    results: list[Value | Words] = []
    for plane in job.planes:
        results += _plane(job, plane, inputs)
    condition = float(job.correction.condition)
    results.append(Value("condition", "Condition number of the influence", condition, "1"))
    if len(job.runs.found) > len(job.radii):
        rest = float(np.sqrt(np.mean(np.abs(job.correction.left) ** 2)))
        results.append(
            Value("rest", "Readings left by calculation, root mean square", rest, "mm/s")
        )
    if job.runs.again is not None:
        drift = trial_change(job.runs.found, job.runs.again)
        results.append(Value("drift", "Change of the run as found, repeated", drift, "%"))
    left = tuple(None if each is None else abs(each) for each in job.left)
    results += residual_of_balance.verdicts(inputs, len(job.radii), left, job.left_spread)
    return Answer(tuple(results), tuple(_warnings(job, condition)))


def _plane(job: _Job, plane: int, inputs: Inputs) -> Iterator[Value | Words]:
    place, radius = plane - 1, job.radii[plane - 1]
    found, added = complex(job.correction.found_unbalance[place]), complex(job.to_add[place])
    mass_u = angle_u = 0.0
    if job.spread is not None:
        mass_u = float(job.spread.amount[place]) / radius
        angle_u = float(job.spread.angle[place])
    stays = job.runs.trials[place][0].stays
    note = "in addition to the trial mass, which stays on" if stays else "the trial mass comes off"
    yield Value(
        f"mass_{plane}",
        f"Plane {plane}: add, at radius {1e3 * radius:g} mm",
        abs(added) / radius,
        "g",
        uncertainty=mass_u,
        note=note,
        leads=True,
    )
    yield Value(
        f"angle_{plane}",
        f"Plane {plane}: at angle",
        cmath.phase(added) % (2 * math.pi),
        "deg",
        uncertainty=angle_u,
        leads=True,
    )
    split = _split(added / radius, inputs)
    if split:
        said = " and ".join(f"{mass / GRAM:.4g} g at {at / DEGREE:.4g}°" for at, mass in split)
        yield Words(f"holes_{plane}", f"Plane {plane}: shared by the holes", said)
    yield Value(f"found_{plane}", f"Plane {plane}: unbalance as found", abs(found), "g.mm")
    yield Value(
        f"found_angle_{plane}",
        f"Plane {plane}: angle of that unbalance",
        cmath.phase(found) % (2 * math.pi),
        "deg",
    )


def _split(mass: complex, inputs: Inputs) -> list[tuple[float, float]]:
    """Give the holes that share a correction: angle [rad] and mass [kg]."""
    holes = inputs.maybe("holes")
    if holes is None:
        return []
    if not (holes.is_integer() and 3 <= holes <= MOST_HOLES):
        cannot_say(
            f"{holes:g} holes share no correction",
            f"Give a whole number from 3 to {MOST_HOLES}, or leave it empty.",
            "holes",
        )
    angles = (inputs.maybe("first_hole") or 0.0) + 2 * math.pi * np.arange(int(holes)) / holes
    shares = split_to_neighbours(mass, angles)
    return [
        (float(at) % (2 * math.pi), float(share))
        for at, share in zip(angles, shares, strict=True)
        if share > 0
    ]


def _warnings(job: _Job, condition: float) -> Iterator[str]:
    for plane, change in zip(job.planes, job.changes, strict=True):
        if change < LEAST_CHANGE:
            yield (
                f"The trial mass in plane {plane} changed no reading by more than "
                f"{100 * change:.0f} %: take a larger one, or trust the answer less."
            )
    if condition > HIGHEST_CONDITION:
        yield (
            f"The planes act nearly alike (condition {condition:.0f}): give up plane "
            f"{job.weak_plane} and correct in the other."
        )
    elif condition > WARNING_CONDITION:
        yield f"The planes fight one another (condition {condition:.0f}): small errors grow large."
    if job.runs.again is not None and trial_change(job.runs.found, job.runs.again) > MOST_DRIFT:
        yield "The run as found did not repeat: the rotor or its mount changed during the job."
    if job.spread is None:
        yield "Without the uncertainty of the readings, that of the corrections is not known."


def _draw(inputs: Inputs) -> str:
    job = _worked_out(inputs)
    limit = residual_of_balance.limit_of_plane(inputs, len(job.radii))
    way = inputs.choice("way")
    planes = tuple(
        PolarPlane(
            f"Plane {plane}",
            "g·mm",
            tuple(_vectors(job, plane, inputs)),
            None if limit is None else limit / GRAM_MM,
        )
        for plane in job.planes
    )
    said = f"Angles count {way}, from the mark on top; the rotor turns clockwise as drawn."
    return polar_plot("Balance", planes, convention=said, clockwise=way == WAYS[1])


def _vectors(job: _Job, plane: int, inputs: Inputs) -> Iterator[PolarVector]:
    place, radius = plane - 1, job.radii[plane - 1]
    found, added = complex(job.correction.found_unbalance[place]), complex(job.to_add[place])
    yield _vector("found", found, Shape.FOUND)
    grams = f"add {abs(added) / radius / GRAM:.4g} g at {_degrees(added):.1f}°"
    yield PolarVector(grams, abs(added) / GRAM_MM, cmath.phase(added), Shape.CORRECTION)
    for at, mass in _split(added / radius, inputs):
        said = f"hole at {at / DEGREE:.4g}°: {mass / GRAM:.4g} g"
        yield PolarVector(said, mass * radius / GRAM_MM, at, Shape.HOLE)
    left = job.left[place]
    if left is not None:
        yield _vector("left", left, Shape.RESIDUAL)


def _vector(word: str, unbalance: complex, shape: Shape) -> PolarVector:
    amount = abs(unbalance) / GRAM_MM
    said = f"{word} {amount:.4g} g·mm at {_degrees(unbalance):.1f}°"
    return PolarVector(said, amount, cmath.phase(unbalance), shape)


def _degrees(vector: complex) -> float:
    return math.degrees(cmath.phase(vector)) % 360


BALANCE = Calculator(
    name="balance",
    title="Balance a rotor",
    task="Readings in one or two planes, at one or several speeds, to the masses that balance it.",
    fields=(
        *runs_of_balance.FIELDS,
        choice(
            "way", "Angles of phases and masses count", WAYS, "One way for both, from the mark."
        ),
        number("holes", "Holes of each plane, evenly spaced", "24", required=False),
        quantity("first_hole", "Angle of the first hole", Dimension.ANGLE, "0 deg", required=False),
        quantity(
            "radius_1",
            "Radius of the correction in plane 1",
            Dimension.LENGTH,
            "120 mm",
            "Empty: that of the trial mass.",
            required=False,
        ),
        quantity(
            "radius_2",
            "Radius of the correction in plane 2",
            Dimension.LENGTH,
            "120 mm",
            "Empty: that of the trial mass.",
            required=False,
        ),
        quantity(
            "reading_u",
            "Standard uncertainty of an amplitude, of its size",
            Dimension.RATIO,
            "2 %",
            required=False,
        ),
        quantity(
            "phase_u",
            "Standard uncertainty of a phase",
            Dimension.ANGLE,
            "1 deg",
            required=False,
        ),
        quantity(
            "floor",
            "Standard uncertainty that small readings keep",
            Dimension.VELOCITY,
            "0.005 mm/s",
            "Noise and repeatability; it rules the residual of the run after correction.",
            required=False,
        ),
        *residual_of_balance.FIELDS,
    ),
    compute=_compute,
    draw=_draw,
    formula=(
        "α = (V₁ − V₀) / U trial",
        "W = −(αᴴα)⁻¹ αᴴ V₀",
        "w₁ = W sin(θ₂ − θ) / sin(θ₂ − θ₁)",
        "U permissible = G m / ω",
    ),
    model_error="A linear, rigid rotor away from resonance, at speeds that repeat within 1 %. The "
    "uncertainty is that of the readings, by 20 000 draws with a fixed seed; a loose mass or a "
    "mount that settles is not in it.",
    sources=(
        "E. L. Thearle, Trans. ASME 56, 745 (1934)",
        "T. P. Goodman, J. Eng. Ind. 86, 273 (1964)",
        "ISO 21940-11:2016, permissible residual unbalance",
        "JCGM 106:2012, decision rules",
    ),
    cautions=(
        "A trial mass that comes off is a projectile: secure it, keep the door locked, and run no "
        "faster than the balancing speed while it is on.",
        "Count masses in and out. Lock out the drive before reaching into the bowl.",
        "The run after correction is the proof; calculated corrections are none.",
    ),
)
