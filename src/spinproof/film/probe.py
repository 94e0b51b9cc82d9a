"""What a film file holds, found in one pass that never keeps more than a packet."""

import hashlib
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

import numpy as np
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer
from av.error import FFmpegError
from av.packet import Packet
from av.stream import Stream

from spinproof.files.digest import sha256_of_file
from spinproof.film.opening import open_film
from spinproof.model.errors import EvidenceError
from spinproof.model.film import FilmFacts, Sound, SoundState

SILENT_RMS = 1e-4
"""-80 dB of full scale: quieter than any microphone beside a machine. Common practice."""
CLIPPED_SHARE = 1e-3
"""Share of samples at full scale above which lines of the sound are not believed."""
FULL_SCALE = 0.999
LOW_RATE_HZ = 20.0


@dataclass
class _Levels:
    samples: int = 0
    square: float = 0.0
    peak: float = 0.0
    clipped: int = 0

    def add(self, frame: AudioFrame) -> None:
        data = frame.to_ndarray()
        if np.issubdtype(data.dtype, np.integer):
            data = data / float(np.iinfo(data.dtype.name).max)
        size = np.abs(data)
        self.samples += size.size
        self.square += float(np.vdot(data, data))
        self.peak = max(self.peak, float(size.max(initial=0.0)))
        self.clipped += int(np.count_nonzero(size >= FULL_SCALE))


@dataclass
class _Pass:
    """What the one pass gathers."""

    digest: "hashlib._Hash" = field(default_factory=hashlib.sha256)
    stamps: Counter[int] = field(default_factory=Counter)
    """How often each interval between frames occurs, in ticks."""
    frames: int = 0
    first: int | None = None
    last: int = 0
    recent: list[int] = field(default_factory=list)
    levels: _Levels = field(default_factory=_Levels)
    broken: str = ""

    def video(self, packet: "Packet[Stream]") -> None:
        self.digest.update(bytes(packet))
        self.frames += 1
        if packet.pts is None:
            return
        self.recent.append(packet.pts)
        if len(self.recent) > 64:  # stamps come out of order by less than this many frames
            self.recent.sort()
            self.settle(self.recent[:32])
            self.recent = self.recent[32:]

    def settle(self, stamps: list[int]) -> None:
        for stamp in stamps:
            if self.first is None:
                self.first = stamp
            else:
                self.stamps[stamp - self.last] += 1
            self.last = stamp


def probe(path: Path) -> FilmFacts:
    """Find out what a film file holds.

    Parameters
    ----------
    path : Path
        An MP4, MOV or MKV file of any length.

    Returns
    -------
    FilmFacts
        Its facts, with remarks about what cannot be shown with it.

    Raises
    ------
    EvidenceError
        If it is no film, or holds no frame that can be shown.
    """
    with open_film(path) as film:
        video = film.streams.video[0]
        told = _Pass()
        rotation = _rotation(path)
        _walk(film, told)
        told.settle(sorted(told.recent))
        if not told.frames or told.first is None or video.time_base is None:
            raise EvidenceError(
                "the film holds no frame", where=path.name, mend="Copy it again from the camera."
            )
        interval = _middle(told.stamps) or 1
        base = float(video.time_base)
        duration = (told.last - told.first + interval) * base
        promised = float((video.duration or 0) * base) or float(film.duration or 0) / 1e6
        sound = _sound(film, told.levels)
        variable = _is_variable(told.stamps, interval)
        rate = 1 / (interval * base) if told.frames > 1 else 0.0
        return FilmFacts(
            sha256=sha256_of_file(path),
            packets_sha256=told.digest.hexdigest(),
            container=film.format.name,
            codec=video.codec_context.name,
            width=video.codec_context.width,
            height=video.codec_context.height,
            rotation=rotation,
            frames=told.frames,
            duration_s=duration,
            rate_hz=rate,
            is_rate_variable=variable,
            sound=sound,
            tags=_tags(film),
            other_tracks=_other_tracks(film),
            remarks=_remarks(told, sound.state, rate, (duration, promised), is_variable=variable),
        )


def _walk(film: InputContainer, told: _Pass) -> None:
    streams = [film.streams.video[0], *film.streams.audio[:1]]
    try:
        for packet in film.demux(streams):
            if not packet.size:
                continue
            if isinstance(packet.stream, AudioStream):
                _listen(packet, told.levels)
            else:
                told.video(packet)
    except FFmpegError as error:
        told.broken = str(error.strerror or error).lower()


def _listen(packet: "Packet[Stream]", levels: _Levels) -> None:
    try:
        for frame in packet.decode():
            levels.add(cast("AudioFrame", frame))
    except FFmpegError:
        return  # one packet of sound that cannot be decoded is a gap, not the film's end


def _rotation(path: Path) -> int:
    with open_film(path) as film:
        try:
            for frame in film.decode(video=0):
                return frame.rotation % 360
        except FFmpegError as error:
            raise EvidenceError(
                f"the film's picture cannot be decoded ({str(error.strerror).lower()})",
                where=path.name,
                mend="Copy it again from the camera, or convert it and say so.",
            ) from error
    raise EvidenceError(
        "the film holds no frame", where=path.name, mend="Copy it again from the camera."
    )


def _middle(intervals: Counter[int]) -> int:
    half, seen = sum(intervals.values()) / 2, 0
    for interval in sorted(intervals):
        seen += intervals[interval]
        if seen >= half:
            return interval
    return 0


def _is_variable(intervals: Counter[int], middle: int) -> bool:
    off = sum(n for interval, n in intervals.items() if abs(interval - middle) > 0.1 * middle + 1)
    return off > 0.001 * sum(intervals.values()) + 1


def _sound(film: InputContainer, levels: _Levels) -> Sound:
    if not film.streams.audio or not levels.samples:
        return Sound(state=SoundState.NONE)
    context = film.streams.audio[0].codec_context
    rms, clipped = (levels.square / levels.samples) ** 0.5, levels.clipped / levels.samples
    state = SoundState.USABLE
    if rms < SILENT_RMS:
        state = SoundState.SILENT
    elif clipped > CLIPPED_SHARE:
        state = SoundState.CLIPPED
    return Sound(
        state=state,
        rate_hz=context.sample_rate,
        channels=context.channels,
        peak=levels.peak,
        rms=rms,
        clipped_share=clipped,
    )


def _tags(film: InputContainer) -> dict[str, str]:
    tags = {name: str(value) for name, value in film.metadata.items()}
    for stream in film.streams:
        for name, value in stream.metadata.items():
            tags[f"track {stream.index} {name}"] = str(value)
    return tags


def _other_tracks(film: InputContainer) -> tuple[str, ...]:
    kept = {film.streams.video[0].index, *(s.index for s in film.streams.audio[:1])}
    return tuple(f"track {s.index}: {s.type}" for s in film.streams if s.index not in kept)


_ABOUT_SOUND = {
    SoundState.NONE: "The film has no sound: the speed cannot be heard; sync marks by light only.",
    SoundState.SILENT: "The sound track is silent: the speed cannot be heard.",
    SoundState.CLIPPED: "The sound is clipped: harmonics in it may be the microphone's, not the"
    " machine's.",
}


def _remarks(
    told: _Pass,
    sound: SoundState,
    rate: float,
    held_and_promised: tuple[float, float],
    *,
    is_variable: bool,
) -> tuple[str, ...]:
    said = []
    duration, promised = held_and_promised
    if told.broken or promised - duration > max(0.5, 0.01 * promised):
        said.append(
            f"The film is cut short: it promises {promised:.1f} s and holds {duration:.1f} s."
            " What is missing cannot be shown."
        )
    if told.frames == 1:
        said.append("The film is a single picture: no motion can be shown.")
    if sound in _ABOUT_SOUND:
        said.append(_ABOUT_SOUND[sound])
    if is_variable:
        said.append("Its frame rate varies: moments are taken from each frame's own time stamp.")
    if 0 < rate < LOW_RATE_HZ:
        said.append(f"Only {rate:.3g} frames a second: a moment is known to half a frame, no less.")
    return tuple(said)
