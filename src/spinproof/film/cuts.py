"""Whether a film is one take: stamps, picture and sound go on without a jump."""

import numpy as np
from numpy.typing import NDArray

from spinproof.film.sync_mark import MARK_S
from spinproof.film.watching import BLOCK_S, Watched
from spinproof.model.film import Cut, CutSign, Take

Floats = NDArray[np.float64]

LONGEST_INTERVALS = 6.0
"""A frame that stays longer than this many usual intervals is a gap."""
PICTURE_JUMP = 12.0
"""How far the still part of the picture must jump, in its usual changes."""
LEAST_JUMP = 5.0
"""The least jump of the picture's levels. [grey level]"""
AWAY_S, OVER_S = MARK_S + 0.2, 0.5
"""How far before and after a jump, and over how long, pictures are held against one another: far
enough that a flash of the sync lamp is over. [s]"""
TOGETHER_S = 0.15


def find_cuts(watched: Watched) -> Take:
    """Look for cuts in a film.

    Parameters
    ----------
    watched : Watched
        The film, from `watch`.

    Returns
    -------
    Take
        Uncut when nothing jumps; else where it does, and by what it shows.

    Notes
    -----
    The picture is judged by the medians of some frames before and after, so that what turns or
    flashes is no cut. A cut between two like pictures, made without a trace in time stamps and
    sound, is not seen: the speed heard and the sync marks then tell that time is missing.
    """
    signs = [
        *((at, CutSign.TIME_STAMPS) for at in _stamp_gaps(watched.frame_s)),
        *((at, CutSign.PICTURE) for at in _picture_jumps(watched)),
        *((at, CutSign.TIME_STAMPS) for at in watched.sound_gaps_s),
    ]
    cuts = _gathered(sorted(signs))
    if cuts:
        words = f"Not one take: {len(cuts)} place{'s' if len(cuts) > 1 else ''} where it jumps."
    else:
        words = "One take: time stamps, picture and sound go on without a jump."
    return Take(is_uncut=not cuts and not watched.broken, cuts=cuts, words=words)


def _stamp_gaps(frame_s: Floats) -> list[float]:
    if frame_s.size < 3:
        return []
    interval = np.diff(frame_s)
    usual = float(np.median(interval))
    return [float(frame_s[k + 1]) for k in np.flatnonzero(interval > LONGEST_INTERVALS * usual)]


def _picture_jumps(watched: Watched) -> list[float]:
    """Find where most of the picture changes at once and stays changed."""
    if watched.frame_s.size < 3:
        return []
    change = np.abs(np.diff(watched.small.astype(np.int16), axis=0))
    widely = np.median(change, axis=1)  # half of the picture changes by as much
    usual = max(float(np.median(widely)), 0.5)
    jumps = []
    for k in np.flatnonzero(widely > max(LEAST_JUMP, PICTURE_JUMP * usual)):
        at = float(watched.frame_s[k + 1])
        before = _usual(watched, at - AWAY_S - OVER_S, at - AWAY_S)
        after = _usual(watched, at + AWAY_S, at + AWAY_S + OVER_S)
        if before is None or after is None:
            continue
        if np.median(np.abs(after - before)) > LEAST_JUMP:
            jumps.append(at)
    return jumps


def _usual(watched: Watched, start: float, end: float) -> Floats | None:
    """Give the median picture of a stretch, or None when it holds no frame."""
    first, last = np.searchsorted(watched.frame_s, [start, end])
    if last <= first:
        return None
    return np.asarray(np.median(watched.small[first:last], axis=0), dtype=np.float64)


def _gathered(signs: list[tuple[float, CutSign]]) -> tuple[Cut, ...]:
    groups: list[list[tuple[float, CutSign]]] = []
    for at, sign in signs:
        if groups and at - groups[-1][-1][0] < max(TOGETHER_S, BLOCK_S):
            groups[-1].append((at, sign))
        else:
            groups.append([(at, sign)])
    return tuple(_cut(group) for group in groups)


def _cut(group: list[tuple[float, CutSign]]) -> Cut:
    kinds = tuple(dict.fromkeys(sign for _, sign in group))
    shown = " and ".join(kind.value for kind in kinds)
    return Cut(film_s=group[0][0], signs=kinds, words=f"jump at {group[0][0]:.2f} s by {shown}")
