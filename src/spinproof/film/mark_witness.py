"""The sync marks as a witness: a lamp in the picture, a tone in the sound."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from spinproof.film.course import LoggedRun
from spinproof.film.sync_mark import MARK_S
from spinproof.film.watching import BLOCK_S, Watched
from spinproof.model.film import Witness, WitnessKind

Floats = NDArray[np.float64]

TONE_SHARE = 0.5
"""Of the sound's level in a block, for it to be the tone."""
FILLED = 0.85
"""Share of a mark's blocks that must be the tone."""
TOGETHER_S = 0.12
"""Lamp and tone of one mark lie no farther apart. [s]"""
TONE_UNCERTAINTY_S = 0.003
PLAUSIBLE_DRIFT = 5e-4
MOST_MARKS = 8


@dataclass(frozen=True)
class SeenMark:
    """A mark in the film."""

    film_s: float
    standard_uncertainty_s: float
    by: str


def find_marks(watched: Watched) -> tuple[SeenMark, ...]:
    """Find the sync marks of a film.

    Parameters
    ----------
    watched : Watched
        The film.

    Returns
    -------
    tuple of SeenMark
        In the order of time; where lamp and tone were found, the tone gives the moment.
    """
    tones, lamps = _tones(watched), _lamps(watched)
    marks = []
    for tone in tones:
        near = [lamp for lamp in lamps if abs(lamp.film_s - tone.film_s) < TOGETHER_S]
        by = "tone and lamp" if near else "tone"
        marks.append(SeenMark(tone.film_s, tone.standard_uncertainty_s, by))
    marks.extend(
        lamp
        for lamp in lamps
        if all(abs(lamp.film_s - tone.film_s) >= TOGETHER_S for tone in tones)
    )
    return tuple(sorted(marks, key=lambda mark: mark.film_s))


def _tones(watched: Watched) -> list[SeenMark]:
    size = round(MARK_S / BLOCK_S)
    if watched.tone.size < 3 * size:
        return []
    pure = watched.tone / np.sqrt(2) > TONE_SHARE * np.maximum(watched.level, 1e-4)
    sums = np.concatenate([[0], np.cumsum(pure)])
    filled = (sums[size:] - sums[:-size]) / size
    found, at = [], 0
    while at < filled.size:
        if filled[at] < FILLED:
            at += 1
            continue
        stretch = filled[at : at + size]
        first = at + int(np.argmax(stretch))
        found.append(SeenMark(_tone_onset(watched, first, size), TONE_UNCERTAINTY_S, "tone"))
        at += 2 * size
    return found


def _tone_onset(watched: Watched, first: int, size: int) -> float:
    """Find where the tone rises through half its height."""
    height = float(np.median(watched.tone[first : first + size]))
    start = max(0, first - 12)
    rising = np.flatnonzero(watched.tone[start : first + 12] > 0.5 * height)
    k = start + int(rising[0]) if rising.size else first
    before = float(watched.tone[k - 1]) if k else 0.0
    part = (0.5 * height - before) / max(float(watched.tone[k]) - before, 1e-9)
    return watched.sound_start_s + BLOCK_S * (k - 0.5 + min(max(part, 0.0), 1.0))


def _lamps(watched: Watched) -> list[SeenMark]:
    if watched.frame_s.size < 20:
        return []
    brightest = watched.small.max(axis=1).astype(np.float64)
    mean = watched.small.mean(axis=1)
    step = np.diff(mean)
    threshold = max(4.0, 10 * 1.4826 * float(np.median(np.abs(step - np.median(step)))))
    found = []
    for k in np.flatnonzero(step > threshold):
        on, before = float(watched.frame_s[k + 1]), float(watched.frame_s[k])
        falls = np.flatnonzero(step[k + 1 : k + 60] < -threshold)
        if not falls.size or brightest[k + 1] < 200:
            continue
        lasted = float(watched.frame_s[k + 2 + int(falls[0])]) - on
        interval = on - before
        if abs(lasted - MARK_S) < 1.5 * interval:
            middle = 0.5 * (on + before)
            found.append(SeenMark(middle, interval / np.sqrt(12), "lamp"))
    return found


def match_marks(
    marks: tuple[SeenMark, ...], run: LoggedRun, near_s: float | None
) -> tuple[Witness, ...]:
    """Tell which mark of the film is which of the run.

    Parameters
    ----------
    marks : tuple of SeenMark
        Marks in the film.
    run : LoggedRun
        What the trace says.
    near_s : float or None
        Film time less run time by another witness, to choose among marks. [s]

    Returns
    -------
    tuple of Witness
        One a mark; empty when they cannot be told apart.
    """
    if not marks or not run.sync_s:
        return ()
    if len(marks) < len(run.sync_s) or len(marks) > MOST_MARKS:
        pairs = _nearest(marks, run, near_s)
    else:
        chosen = min(
            combinations(marks, len(run.sync_s)), key=lambda some: _cost(some, run, near_s)
        )
        pairs = list(zip(chosen, run.sync_s, strict=True))
    return tuple(
        Witness(
            kind=WitnessKind.SYNC_MARK,
            run_s=at,
            film_s=mark.film_s,
            standard_uncertainty_s=float(
                np.hypot(mark.standard_uncertainty_s, run.sync_uncertainty_s)
            ),
            words=f"by {mark.by}",
        )
        for mark, at in pairs
    )


def _cost(some: tuple[SeenMark, ...], run: LoggedRun, near_s: float | None) -> float:
    offsets = np.array([mark.film_s - at for mark, at in zip(some, run.sync_s, strict=True)])
    return float(np.ptp(offsets)) + (abs(float(offsets.mean()) - near_s) if near_s else 0.0)


def _nearest(
    marks: tuple[SeenMark, ...], run: LoggedRun, near_s: float | None
) -> list[tuple[SeenMark, float]]:
    if near_s is None:
        return []
    pairs = []
    for at in run.sync_s:
        mark = min(marks, key=lambda one: abs(one.film_s - at - near_s))
        if abs(mark.film_s - at - near_s) < 2.0:
            pairs.append((mark, at))
    return pairs
