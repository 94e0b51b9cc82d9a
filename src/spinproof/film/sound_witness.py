"""The sound as a witness: speed heard beside speed logged."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinproof.film.course import LoggedRun
from spinproof.film.hearing import HOP_S, WINDOW_S, Heard
from spinproof.film.offset_fit import fit_offset
from spinproof.model.film import Witness, WitnessKind

Floats = NDArray[np.float64]

COARSE_STEP_S = 0.1
COARSE_HZ = 0.12
LARGEST_Z = 4.0
FLOOR_HZ = 0.008
"""What refining a ridge leaves at best. [Hz]"""
BLOCK_S = 4.0
FEWEST_WINDOWS = 40


@dataclass(frozen=True, eq=False)
class SoundMatch:
    """How the speed heard fits a log, at the best offset."""

    offset_s: float
    """Film time less run time. [s]"""
    run_s: Floats
    heard_hz: Floats
    logged_hz: Floats
    uncertainty_hz: Floats
    misfit: float
    log_likelihood: float
    witness: Witness | None


def match_sound(heard: Heard, run: LoggedRun, film_end_s: float) -> SoundMatch | None:
    """Find where in a film the sound fits a logged run best.

    Parameters
    ----------
    heard : Heard
        Speed by the sound.
    run : LoggedRun
        What the trace says.
    film_end_s : float
        Duration of the film. [s]

    Returns
    -------
    SoundMatch or None
        None when too little was heard.
    """
    told = np.isfinite(heard.frequency) & np.isfinite(heard.uncertainty)
    if np.count_nonzero(told) < FEWEST_WINDOWS:
        return None
    film_s, frequency = heard.film_s[told], heard.frequency[told]
    spread = np.hypot(heard.uncertainty[told], FLOOR_HZ)
    offset = _coarse(film_s, frequency, spread, run, film_end_s)
    offset, witness = _fine(film_s, frequency, spread, run, offset)
    run_s = film_s - offset
    logged, _ = run.frequency(run_s)
    spread = np.hypot(spread, run.speed_uncertainty * logged)
    squares = _block_squares(run_s, (frequency - logged) / spread)
    return SoundMatch(
        offset,
        run_s,
        frequency,
        logged,
        spread,
        float(squares.mean()),
        -0.5 * float(squares.sum()),
        witness,
    )


def _coarse(
    film_s: Floats, frequency: Floats, spread: Floats, run: LoggedRun, film_end_s: float
) -> float:
    offsets = np.arange(-run.end_s, film_end_s, COARSE_STEP_S)
    wide = np.maximum(spread, COARSE_HZ)
    best, at = -1.0, 0.0
    for part in np.array_split(offsets, max(1, offsets.size * film_s.size // 2_000_000)):
        logged, _ = run.frequency(film_s[None] - part[:, None])
        fits = np.maximum(0.0, LARGEST_Z**2 - ((frequency - logged) / wide) ** 2).sum(axis=1)
        if fits.max() > best:
            best, at = float(fits.max()), float(part[fits.argmax()])
    return at


def _fine(
    film_s: Floats, frequency: Floats, spread: Floats, run: LoggedRun, offset: float
) -> tuple[float, Witness | None]:
    near = offset + np.arange(-0.3, 0.3, 0.005)
    logged, _ = run.frequency(film_s[None] - near[:, None])
    cost = np.minimum(((frequency - logged) / spread) ** 2, LARGEST_Z**2).sum(axis=1)
    offset = float(near[cost.argmin()])
    block = ((film_s - film_s[0]) / BLOCK_S).astype(np.int64)
    fit = None
    for _ in range(4):
        logged, slope = run.frequency(film_s - offset)
        left = frequency - logged
        weight = HOP_S / WINDOW_S / spread**2 * (np.abs(left) < LARGEST_Z * spread)
        fit = fit_offset(left, -slope, weight, block)
        offset += fit.correction_s if fit else 0.0
    if fit is None:
        return offset, None
    middle = float(film_s[fit.middle])
    words = f"{film_s.size} windows of sound, in {np.unique(block).size} stretches"
    return offset, Witness(
        kind=WitnessKind.SOUND,
        run_s=middle - offset,
        film_s=middle,
        standard_uncertainty_s=fit.standard_uncertainty_s,
        words=words,
    )


def _block_squares(run_s: Floats, z: Floats) -> Floats:
    """Give the squared mean of each second's z, over its variance; cut where it is hopeless."""
    second = np.floor(run_s - run_s[0]).astype(np.int64)
    number, mean = np.bincount(second), np.bincount(second, z)
    has = number > 0
    independent = np.maximum(1.0, number[has] * HOP_S / WINDOW_S)
    return np.asarray(np.minimum(independent * (mean[has] / number[has]) ** 2, 25.0))
