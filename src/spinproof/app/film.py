"""Films of runs: looked at, taken in, aligned with a trace, published, and the cues before."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from spinproof.files.durable import write_durably
from spinproof.film.aligning import align, take_testimony
from spinproof.film.captions import Caption, web_vtt
from spinproof.film.clean_copy import copy_without_metadata
from spinproof.film.course import LoggedRun
from spinproof.film.cue_sheet import Stop, write_cues
from spinproof.film.cuts import find_cuts
from spinproof.film.probe import probe
from spinproof.film.publishing import Card, FramesOut, Story, publish
from spinproof.film.strip import Curve
from spinproof.film.watching import watch
from spinproof.judge.readings import Readings
from spinproof.model.channel import Role
from spinproof.model.errors import EvidenceError, TraceError
from spinproof.model.film import Alignment, CleanCopy, CueSheet, FilmFacts, Match, Take
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.physics.rotor import coast_down_time
from spinproof.record.trace_file import read_trace

OnProgress = Callable[[float], None]
RAD_PER_S = np.pi / 30
_SHOWN = (
    (Role.N2_TEMPERATURE, "N2 {:.0f} °C"),
    (Role.DRAIN_RESISTIVITY, "{:.1f} MOhm cm"),
    (Role.VIBRATION, "{:.2f} mm/s"),
)


@dataclass(frozen=True)
class LookedAt:
    """A film's facts, and whether it is one take."""

    facts: FilmFacts
    take: Take


def look_at_film(path: Path) -> LookedAt:
    """Look at a film file.

    Raises
    ------
    EvidenceError
        If it is no film.
    """
    return LookedAt(probe(path), find_cuts(watch(path)))


def take_film_in(path: Path, target: Path) -> tuple[FilmFacts, CleanCopy]:
    """Seal a film by its hash, and write a copy of it without metadata.

    Raises
    ------
    EvidenceError
        If it is no film, the target is the film itself, or metadata would survive.
    """
    _keep_apart(path, target)
    facts = probe(path)
    return facts, copy_without_metadata(path, facts, target)


def align_film(
    path: Path, trace: Path, sync_s: Sequence[float] = (), others: Sequence[Path] = ()
) -> Alignment:
    """Align a film with a sealed trace.

    Parameters
    ----------
    path : Path
        The film.
    trace : Path
        The trace it is said to show.
    sync_s : sequence of float
        Moments of the run at which a sync mark was switched on. [s]
    others : sequence of Path
        Other sealed runs of the recipe.

    Raises
    ------
    EvidenceError
        If it is no film, or nothing in it can be held against the trace.
    TraceError
        If a trace has no speed.
    """
    film = take_testimony(watch(path))
    found = align(film, _logged(trace, sync_s), [_logged(other, ()) for other in others])
    if found is None:
        raise EvidenceError(
            "neither sound, nor picture, nor sync marks tell when the film was taken",
            where=path.name,
            mend="Film with sound, a rotor mark in the picture and the sync lamp; this film shows"
            " what it shows, but not of which run.",
        )
    return found


def publish_film(
    path: Path, trace: Path, target: Path, alignment: Alignment, on_progress: OnProgress
) -> FramesOut:
    """Encode a film anew with the trace's readings; captions also lie beside it as WebVTT.

    Raises
    ------
    EvidenceError
        If the film does not fit the trace, or breaks off.
    """
    _keep_apart(path, target)
    if alignment.match is Match.REJECTED:
        raise EvidenceError(
            "the film does not show this run: " + " ".join(alignment.words),
            where=path.name,
            mend="Give the trace of the run that was filmed.",
        )
    facts = probe(path)
    story = _story(trace, alignment, facts)
    done = publish(path, facts, target, story, on_progress=on_progress)
    shifted = [
        Caption(c.start_s + done.shift_s, c.end_s + done.shift_s, c.text) for c in story.captions
    ]
    write_durably(target.with_suffix(".vtt"), web_vtt(shifted).encode())
    return done


def cue_sheet(recipe: Recipe, head: HeadSpec, load: Load, exclusions: Sequence[str]) -> CueSheet:
    """Write the cue sheet of a run on a head; its coast comes from the head's own drag."""
    last = recipe.steps[-1].speed_rpm
    coast = coast_down_time(
        head.inertia_kg_m2,
        head.coulomb_torque_n_m,
        head.viscous_drag_n_m_s,
        head.quadratic_drag_n_m_s2,
        max(last, head.index_enable_rpm) * RAD_PER_S,
        head.index_enable_rpm * RAD_PER_S,
    )
    stop = Stop(float(coast), head.index_enable_rpm)
    return write_cues(recipe, head.designation, len(load.filled_slots), stop, exclusions)


def _keep_apart(path: Path, target: Path) -> None:
    if target.exists() and target.samefile(path):
        raise EvidenceError(
            "the film itself would be overwritten", where=str(target), mend="Name another file."
        )


def _logged(path: Path, sync_s: Sequence[float]) -> LoggedRun:
    speed = Readings(read_trace(path)).reference
    known = speed is not None and np.count_nonzero(np.isfinite(speed.rpm)) > 1
    if speed is None or not known:
        raise TraceError(
            "the trace has no speed", where=path.name, mend="A film is held against a tach."
        )
    good = np.isfinite(speed.rpm)
    return LoggedRun(
        speed.time_s[good],
        speed.rpm[good] * RAD_PER_S,
        tuple(sync_s),
        speed_uncertainty=max(speed.relative, 1e-4),
        name=path.stem,
    )


class _TraceReadings:
    """What the strip says, from the sealed trace."""

    def __init__(self, trace: Path, alignment: Alignment) -> None:
        self._trace = read_trace(trace)
        self._alignment = alignment
        self._speed = Readings(self._trace).reference
        self._series = [
            (self._trace.role(role), form) for role, form in _SHOWN if self._trace.role(role)
        ]
        header = self._trace.header
        self._name = f"head {header.head.designation}, {header.recipe.name}"
        if header.simulated:
            self._name = "SIMULATED " + self._name

    def at(self, film_s: float) -> tuple[str, str]:
        """Give the two lines of text."""
        run_s = (film_s - self._alignment.offset_s) / (1 + self._alignment.drift)
        end = self._trace.duration_s
        if not 0 <= run_s <= end:
            return self._name, "outside the recording" if run_s > end else f"run in {-run_s:.0f} s"
        rpm = self._speed.at(run_s) if self._speed else float("nan")
        said = [f"{rpm:.0f} rpm" if np.isfinite(rpm) else "speed not known"]
        for signal, form in self._series:
            if signal is not None and signal.time_s.size:
                k = int(np.searchsorted(signal.time_s, run_s).clip(0, signal.time_s.size - 1))
                value = float(signal.values[k])
                said.append(form.format(value) if np.isfinite(value) else "–")
        return f"{self._name}   {run_s:.1f} s", "   ".join(said)


def _story(trace: Path, alignment: Alignment, facts: FilmFacts) -> Story:
    held = read_trace(trace)
    speed = Readings(held).reference
    header = held.header
    empty = np.zeros(0)
    curve = Curve(
        alignment.offset_s + (1 + alignment.drift) * (speed.time_s if speed else empty),
        np.nan_to_num(speed.rpm) if speed else empty,
    )
    starts, step_words = _steps(held.header.recipe, trace)
    moments = [alignment.film_time(start) for start in starts]
    chapters = [(max(at, 0.0), words) for at, words in zip(moments, step_words, strict=True)]
    inside = [(at, words) for at, words in chapters if at < facts.duration_s]
    captions = tuple(Caption(at, at + 4.0, words) for at, words in inside)
    return Story(
        opening=Card(
            f"Head {header.head.designation}",
            (
                f"Recipe {header.recipe.name}, revision {header.recipe.revision}."
                + (" SIMULATED." if header.simulated else ""),
                f"Film against trace: {alignment.match.value},"
                f" ± {1e3 * alignment.expanded_uncertainty_s:.0f} ms.",
            ),
        ),
        closing=Card(
            "How to check",
            (
                f"Trace SHA-256 {_grouped(held.sha256)}",
                f"Film SHA-256 {_grouped(facts.sha256)}",
                *alignment.words,
            ),
        ),
        readings=_TraceReadings(trace, alignment),
        curve=curve,
        captions=captions,
        chapters=tuple(inside),
    )


def _grouped(digest: str) -> str:
    """Break a hash into groups that a card can wrap."""
    return " ".join(digest[k : k + 16] for k in range(0, len(digest), 16))


def _steps(recipe: Recipe, trace: Path) -> tuple[list[float], list[str]]:
    """Give when each step began, by the trace's own step channel."""
    signal = read_trace(trace).role(Role.STEP)
    if signal is None:
        return [], []
    starts, words = [], []
    for number, step in enumerate(recipe.steps, start=1):
        began = np.flatnonzero(signal.values == number)
        if began.size:
            starts.append(float(signal.time_s[began[0]]))
            words.append(f"Step {number}: {step.name}, {step.speed_rpm:g} rpm")
    return starts, words
