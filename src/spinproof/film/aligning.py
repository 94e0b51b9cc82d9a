"""How a film's clock stands to a trace, and whether both show the same run."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from spinproof.film.course import LoggedRun
from spinproof.film.hearing import Heard, hear_rotor
from spinproof.film.mark_witness import SeenMark, find_marks, match_marks
from spinproof.film.picture_witness import match_picture, see_turning
from spinproof.film.sound_witness import SoundMatch, match_sound
from spinproof.film.watching import Watched
from spinproof.model.film import Alignment, Match, SpeedHeard, Witness, WitnessKind

Floats = NDArray[np.float64]

CLOCK_DRIFT = 5e-5
"""Standard deviation of the rate of an ordinary quartz clock. Common practice, no source. [1]"""
LEAST_PROBABILITY = 1e-3
"""Witnesses that would differ so much more rarely than this do not agree."""
WORST_MISFIT = 3.0
"""A log whose speed differs more from the sound, in mean squares, is not this run's. [1]"""
CLEARLY = 6.0
"""Log-likelihood by which this trace must be ahead of all others. [1]"""
FEWEST_MARKS = 2
"""Sync marks in film and log that show this run and no other of the same recipe."""
RPM_PER_HZ = 60.0
COVERAGE = 1.96
NEAR_S = 4.0
"""Around the sound's answer the picture is searched. [s]"""
MOST_FRAMES = 20_000
"""Of a film without a rotor's sound, in which the picture is searched all over."""


@dataclass(frozen=True, eq=False)
class Testimony:
    """What a film says by itself, before it is held against any trace."""

    heard: Heard
    frame_s: Floats
    small: NDArray[np.uint8]
    marks: tuple[SeenMark, ...]
    end_s: float


@dataclass(frozen=True, eq=False)
class _Fit:
    """A film held against one trace."""

    witnesses: tuple[Witness, ...]
    sound: SoundMatch | None
    middle_run_s: float
    middle_film_s: float
    drift: float
    covariance: Floats
    disagreement: float
    """Sum of squares of the witnesses' residuals and of the drift over their uncertainties."""

    @property
    def kinds(self) -> set[WitnessKind]:
        return {witness.kind for witness in self.witnesses}

    @property
    def log_likelihood(self) -> float:
        heard = self.sound.log_likelihood if self.sound else 0.0
        return heard - 0.5 * self.disagreement

    @property
    def agree(self) -> bool | None:
        if len(self.witnesses) < 2:
            return None
        return bool(chi2.sf(self.disagreement, len(self.witnesses) - 1) > LEAST_PROBABILITY)

    @property
    def fits(self) -> bool:
        return self.agree is not False and (self.sound is None or self.sound.misfit < WORST_MISFIT)


def take_testimony(watched: Watched) -> Testimony:
    """Gather what a film says by itself.

    Parameters
    ----------
    watched : Watched
        The film, from `watch`.

    Returns
    -------
    Testimony
        Speed by its sound, its small pictures, and its sync marks.
    """
    end = max(
        float(watched.frame_s[-1]) if watched.frame_s.size else 0.0,
        watched.sound_start_s + watched.low.size / 1000,
    )
    return Testimony(
        hear_rotor(watched.low, watched.sound_start_s),
        watched.frame_s,
        watched.small,
        find_marks(watched),
        end,
    )


def align(film: Testimony, run: LoggedRun, others: Sequence[LoggedRun] = ()) -> Alignment | None:
    """Align a film with a trace, and say whether it shows this run.

    Parameters
    ----------
    film : Testimony
        What the film says.
    run : LoggedRun
        The trace it is said to show.
    others : sequence of LoggedRun
        Other runs of the same recipe, for the likelihood against them.

    Returns
    -------
    Alignment or None
        None when no witness speaks: neither sound, nor picture, nor marks.
    """
    fit = _fit(film, run)
    if fit is None:
        return None
    rest = [one for one in (_fit(film, other) for other in others) if one is not None]
    best = max((one.log_likelihood for one in rest), default=None)
    match, words = _decide(fit, rest)
    spread = float(np.sqrt(fit.covariance[0, 0]))
    return Alignment(
        offset_s=fit.middle_film_s - (1 + fit.drift) * fit.middle_run_s,
        drift=fit.drift,
        middle_run_s=fit.middle_run_s,
        middle_film_s=fit.middle_film_s,
        expanded_uncertainty_s=COVERAGE * spread,
        drift_standard_uncertainty=float(np.sqrt(fit.covariance[1, 1])),
        witnesses=fit.witnesses,
        agree=fit.agree,
        match=match,
        misfit=fit.sound.misfit if fit.sound else 0.0,
        log_likelihood=fit.log_likelihood,
        best_other=best,
        speed=_speed(fit.sound),
        words=words,
    )


def _fit(film: Testimony, run: LoggedRun) -> _Fit | None:
    sound = match_sound(film.heard, run, film.end_s)
    near = sound.offset_s if sound else None
    witnesses = list(match_marks(film.marks, run, near))
    if sound and sound.witness:
        witnesses.append(sound.witness)
    witnesses.extend(_picture(film, run, near))
    if not witnesses:
        return None
    return _line(tuple(witnesses), sound)


def _picture(film: Testimony, run: LoggedRun, near_s: float | None) -> list[Witness]:
    """Ask the picture, where the sound says the run is, or everywhere in a film of some minutes."""
    search = (-run.end_s, film.end_s)
    part = slice(0, film.frame_s.size)
    if near_s is not None:
        search = (near_s - NEAR_S, near_s + NEAR_S)
        part = slice(*np.searchsorted(film.frame_s, [near_s - NEAR_S, near_s + run.end_s + NEAR_S]))
    elif film.frame_s.size > MOST_FRAMES:
        return []
    turning = see_turning(film.frame_s[part], film.small[part])
    witness = match_picture(turning, run, search) if turning else None
    return [witness] if witness else []


def _line(witnesses: tuple[Witness, ...], sound: SoundMatch | None) -> _Fit:
    """Lay the line of the clocks through the witnesses; a clock's drift is known beforehand."""
    run_s = np.array([w.run_s for w in witnesses])
    film_s = np.array([w.film_s for w in witnesses])
    weight = 1 / np.array([w.standard_uncertainty_s for w in witnesses]) ** 2
    middle = float(np.sum(weight * run_s) / weight.sum())
    design = np.column_stack([np.ones(run_s.size), run_s - middle])
    normal = design.T @ (weight[:, None] * design) + np.diag([0.0, CLOCK_DRIFT**-2])
    covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    offset, drift = covariance @ (design.T @ (weight * (film_s - run_s)))
    left = film_s - run_s - design @ np.array([offset, drift])
    disagreement = float(np.sum(weight * left**2) + (drift / CLOCK_DRIFT) ** 2)
    return _Fit(
        witnesses, sound, middle, middle + float(offset), float(drift), covariance, disagreement
    )


def _decide(fit: _Fit, rest: list[_Fit]) -> tuple[Match, tuple[str, ...]]:
    if fit.sound is None and fit.agree is None:
        return Match.CANNOT_SAY, ("One witness alone, and no sound of the rotor: too little.",)
    if not fit.fits:
        said = []
        if fit.agree is False:
            said.append("Its witnesses put the film at moments that do not fit one another.")
        if fit.sound and fit.sound.misfit >= WORST_MISFIT:
            said.append("The speed heard is not the speed logged.")
        return Match.REJECTED, tuple(said)
    rivals = [one for one in rest if one.log_likelihood > fit.log_likelihood - CLEARLY]
    if any(one.log_likelihood > fit.log_likelihood + CLEARLY for one in rivals):
        return Match.REJECTED, ("Another run of this recipe fits the film clearly better.",)
    doubt = _doubt(fit, rivals)
    return (Match.CANNOT_SAY, (doubt,)) if doubt else (Match.ACCEPTED, ())


def _doubt(fit: _Fit, rivals: list[_Fit]) -> str:
    """Say why a film that fits is not yet shown to be of this run; empty when it is."""
    if any(one.fits for one in rivals):
        return "Another run of this recipe fits the film as well."
    if WitnessKind.SOUND not in fit.kinds:
        return "The rotor is not heard clearly enough."
    marks = [w for w in fit.witnesses if w.kind is WitnessKind.SYNC_MARK]
    if len(marks) < FEWEST_MARKS:
        return (
            "The speed heard is the speed logged, but so it is for other runs of this recipe:"
            f" only {FEWEST_MARKS} sync marks or more tell this run."
        )
    return ""


def _speed(sound: SoundMatch | None) -> SpeedHeard:
    if sound is None:
        return SpeedHeard(run_s=(), heard_rpm=(), logged_rpm=(), standard_uncertainty_rpm=())
    return SpeedHeard(
        run_s=tuple(sound.run_s.tolist()),
        heard_rpm=tuple((RPM_PER_HZ * sound.heard_hz).tolist()),
        logged_rpm=tuple((RPM_PER_HZ * sound.logged_hz).tolist()),
        standard_uncertainty_rpm=tuple((RPM_PER_HZ * sound.uncertainty_hz).tolist()),
    )
