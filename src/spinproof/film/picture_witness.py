"""The picture as a witness: how far the rotor's marks turn from frame to frame."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinproof.film.course import LoggedRun
from spinproof.film.offset_fit import fit_offset
from spinproof.model.film import Witness, WitnessKind

Floats = NDArray[np.float64]

SMOOTHED_FRAMES = 15
LEARNT_FROM = 3000
"""Frames from which the pattern of the marks is learnt, at most."""
ORDERS = (1, 2, 3, 4)
COARSE_STEP_S = 0.25
LEAST_TURN = 0.05
"""Between two frames, for a rotor that turns. [rad]"""
LAG = 8
"""Frames over which the turning is followed once the offset is roughly known."""
BLOCK_S = 4.0
WORST_COHERENCE = 0.25
LARGEST_ERROR = 1.2
"""Differences beyond it are turns that were lost. [rad]"""


@dataclass(frozen=True, eq=False)
class Turning:
    """The marks' direction in each frame, up to sense, beginning and symmetry."""

    frame_s: Floats
    phase: NDArray[np.complex128]
    """Direction as a complex number; its size says how clear it is."""


def see_turning(frame_s: Floats, small: NDArray[np.uint8]) -> Turning | None:
    """Find what turns in a film, wherever in the picture it does.

    Parameters
    ----------
    frame_s : ndarray
        Time stamps. [s]
    small : ndarray
        Small pictures, one a row.

    Returns
    -------
    Turning or None
        None when the film has too few frames.

    Notes
    -----
    A pattern that turns is, to first order, cos(phase) times one picture plus sin(phase) times
    another: the two leading principal components of the frames less their moving mean. No place
    in the picture has to be told, and a camera that samples too slowly does not matter, since
    only directions at the frames' moments are used.
    """
    if frame_s.size < 10 * SMOOTHED_FRAMES:
        return None
    active = small.std(axis=0) > 0
    if np.count_nonzero(active) < 4:
        return None
    pictures = small[:, active].astype(np.float32)
    sums = np.cumsum(pictures, axis=0, dtype=np.float64)
    moving = pictures.copy()
    half = SMOOTHED_FRAMES // 2
    moving[half + 1 : -half] -= (
        (sums[SMOOTHED_FRAMES:] - sums[:-SMOOTHED_FRAMES]) / SMOOTHED_FRAMES
    ).astype(np.float32)
    moving[: half + 1] = moving[-half:] = 0
    energy = (moving**2).sum(axis=1)
    calm = energy < np.percentile(energy, 99.5)  # a flash of the sync lamp is no turning
    lively = np.flatnonzero(calm & (energy > np.median(energy)))
    learnt = moving[lively[:: max(1, lively.size // LEARNT_FROM)]]
    _, vectors = np.linalg.eigh(learnt.T @ learnt)
    parts = moving @ vectors[:, -2:]
    scale = np.sqrt(np.mean(parts[lively] ** 2, axis=0))
    parts = parts / np.maximum(scale, 1e-9) * calm[:, None]
    phase = parts[:, 1] + 1j * parts[:, 0]
    size = np.abs(phase)
    return Turning(frame_s, np.asarray(phase / np.maximum(size, 1e-9) * np.minimum(size, 1.5)))


def match_picture(
    turning: Turning, run: LoggedRun, search_s: tuple[float, float]
) -> Witness | None:
    """Find where in a film the marks turn as a log says.

    Parameters
    ----------
    turning : Turning
        What turns in the picture.
    run : LoggedRun
        What the trace says.
    search_s : tuple of float
        Least and largest film time less run time to be looked at. [s]

    Returns
    -------
    Witness or None
        None when the turning cannot be made out clearly enough.
    """
    step = turning.phase[1:] * turning.phase[:-1].conj()
    total = float(np.abs(step).sum())
    best, turns, offset = max(
        (_coherence(turning, run, step, start) for start in np.arange(*search_s, COARSE_STEP_S)),
        default=(0.0, 1, 0.0),
    )
    if total == 0 or best / total < WORST_COHERENCE:
        return None
    return _fine(turning, run, turns, offset)


def _coherence(
    turning: Turning, run: LoggedRun, step: NDArray[np.complex128], start: float
) -> tuple[float, int, float]:
    """Give how well the steps between frames fit a log, with symmetry and sense that fit best."""
    angle, _ = run.turned(turning.frame_s - start)
    gained = np.diff(angle)
    turns = [way * times for times in ORDERS for way in (1, -1)]
    fits = [
        float(((step * np.exp(-1j * turn * gained)).real * (gained > LEAST_TURN)).sum())
        for turn in turns
    ]
    best = int(np.argmax(fits))
    return fits[best], turns[best], float(start)


def _fine(turning: Turning, run: LoggedRun, turns: int, offset: float) -> Witness | None:
    block = ((turning.frame_s[:-LAG] - turning.frame_s[0]) / BLOCK_S).astype(np.int64)
    seen = turning.phase[LAG:] * turning.phase[:-LAG].conj()
    offset = _best_near(turning, run, turns, seen, offset)
    fit, used = None, 0
    for _ in range(4):
        angle, speed = run.turned(turning.frame_s - offset)
        gained, slope = angle[LAG:] - angle[:-LAG], speed[LAG:] - speed[:-LAG]
        left = np.angle(seen * np.exp(-1j * turns * gained))
        weight = np.abs(seen) * (np.abs(left) < LARGEST_ERROR) * (speed[LAG:] > 5) / LAG
        fit = fit_offset(left, -turns * slope, weight / max(_variance(left, weight), 1e-3), block)
        offset += fit.correction_s if fit else 0.0
        used = int(np.count_nonzero(weight))
    if fit is None:
        return None
    middle = float(turning.frame_s[fit.middle])
    return Witness(
        kind=WitnessKind.PICTURE,
        run_s=middle - offset,
        film_s=middle,
        standard_uncertainty_s=fit.standard_uncertainty_s,
        words=f"{used} frames with marks that turn",
    )


def _best_near(
    turning: Turning, run: LoggedRun, turns: int, seen: NDArray[np.complex128], offset: float
) -> float:
    """Sharpen a rough offset by the turning over several frames."""
    near = offset + np.arange(-1.5, 1.5, 0.02)
    fits = []
    for start in near:
        angle, speed = run.turned(turning.frame_s - start)
        turn = np.exp(-1j * turns * (angle[LAG:] - angle[:-LAG]))
        fits.append(float(((seen * turn).real * (speed[LAG:] > 5)).sum()))
    return float(near[int(np.argmax(fits))])


def _variance(left: Floats, weight: Floats) -> float:
    total = float(weight.sum())
    return float((weight * left**2).sum()) / total if total else 1.0
