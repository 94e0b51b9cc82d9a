"""A film of a run: what it holds, and how its clock stands to the trace."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from spinproof.model.noun import Noun

Texts = Annotated[tuple[str, ...], Field(strict=False)]
Floats = Annotated[tuple[float, ...], Field(strict=False)]


class SoundState(StrEnum):
    """What the sound of a film is good for."""

    NONE = "none"
    """The film has no sound track."""
    SILENT = "silent"
    """There is a track, and nothing in it."""
    CLIPPED = "clipped"
    """It was too loud for the microphone."""
    USABLE = "usable"


class Sound(Noun):
    """The sound track of a film."""

    state: SoundState
    rate_hz: int = 0
    channels: int = 0
    peak: float = 0.0
    """Largest sample as a share of full scale. [1]"""
    rms: float = 0.0
    """Root mean square as a share of full scale. [1]"""
    clipped_share: float = 0.0
    """Share of the samples at full scale. [1]"""


class FilmFacts(Noun):
    """What a film file holds."""

    sha256: str
    """Of the file."""
    packets_sha256: str
    """Of the payloads of the video packets in their order: the same in a copy without metadata."""
    container: str
    codec: str
    width: int
    height: int
    rotation: int
    """By how much a player turns the picture, counter-clockwise. [deg]"""
    frames: int
    duration_s: float
    """From the first frame to the end of the last. [s]"""
    rate_hz: float
    """Frames in a second, by the middle interval between frames. [Hz]"""
    is_rate_variable: bool
    sound: Sound
    tags: Annotated[dict[str, str], Field()]
    """What the file says about place, device and time; none of it may be published."""
    other_tracks: Texts
    """Tracks that are neither picture nor sound."""
    remarks: Texts
    """What can and cannot be shown with it."""


class CleanCopy(Noun):
    """A copy of a film without metadata."""

    sha256: str
    packets_sha256: str
    parent_sha256: str
    removed: Texts
    """Names of the tags and tracks that are not in the copy."""


class CutSign(StrEnum):
    """By what a cut shows."""

    TIME_STAMPS = "time stamps"
    PICTURE = "picture"
    SOUND = "sound"


class Cut(Noun):
    """A place where a film is not one take."""

    film_s: float
    signs: Annotated[tuple[CutSign, ...], Field(strict=False)]
    words: str


class Take(Noun):
    """Whether a film is one uncut take."""

    is_uncut: bool
    cuts: Annotated[tuple[Cut, ...], Field(strict=False)]
    words: str


class WitnessKind(StrEnum):
    """What tells how the film's clock stands to the trace."""

    SYNC_MARK = "sync mark"
    SOUND = "sound of the rotor"
    PICTURE = "picture of the rotor"


class Witness(Noun):
    """What one witness says about the film's clock."""

    kind: WitnessKind
    run_s: float
    """Moment of the run it speaks about. [s]"""
    film_s: float
    """The same moment by the film's clock. [s]"""
    standard_uncertainty_s: float
    words: str


class Match(StrEnum):
    """Whether a film shows the run of a trace."""

    ACCEPTED = "accepted"
    REJECTED = "rejected"
    CANNOT_SAY = "cannot say"


class SpeedHeard(Noun):
    """Speed by the film's sound beside the speed logged, over the run's time."""

    run_s: Floats
    heard_rpm: Floats
    logged_rpm: Floats
    standard_uncertainty_rpm: Floats


class Alignment(Noun):
    """How a film's clock stands to a trace: film time = offset + (1 + drift) x run time."""

    offset_s: float
    """Film time at the trace's beginning, were the clocks extended to it. [s]"""
    drift: float
    """By how much the film's clock runs faster. [s/s]"""
    middle_run_s: float
    """Moment of the run at which the offset is known best. [s]"""
    middle_film_s: float
    expanded_uncertainty_s: float
    """Of the film time at that moment, for 95 %. [s]"""
    drift_standard_uncertainty: float
    witnesses: Annotated[tuple[Witness, ...], Field(strict=False)]
    agree: bool | None
    """Whether the witnesses agree; absent when there is only one."""
    match: Match
    misfit: float
    """Robust mean square of (heard - logged) over its uncertainty; near 1 for the same run. [1]"""
    log_likelihood: float
    """Of the speed heard under this trace. [1]"""
    best_other: float | None
    """The highest log-likelihood under another trace of the recipe. [1]"""
    speed: SpeedHeard
    words: Texts

    def film_time(self, run_s: float) -> float:
        """Give the film's time, in seconds, at a moment of the run."""
        return self.offset_s + (1 + self.drift) * run_s


class Cue(Noun):
    """One line of a cue sheet."""

    run_s: float
    """From the command of the first step; negative before it. [s]"""
    event: str
    show: str
    say: str
    say_s: float
    """How long it takes to say. [s]"""
    too_long_by_s: float = 0.0
    """By how much it takes longer than there is until the next cue. [s]"""


class CueSheet(Noun):
    """What a presenter does during a filmed run."""

    head: str
    recipe: str
    words_per_minute: float
    exclusions: Texts
    never_say: Texts
    before_filming: Texts
    cues: Annotated[tuple[Cue, ...], Field(strict=False)]
