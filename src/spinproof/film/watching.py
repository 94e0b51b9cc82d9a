"""One pass over a film that keeps what its witnesses need: small pictures and thinned sound."""

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import cast

import numpy as np
from av.audio.frame import AudioFrame
from av.audio.resampler import AudioResampler
from av.audio.stream import AudioStream
from av.error import FFmpegError
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from spinproof.film.opening import open_film
from spinproof.film.sync_mark import TONE_HZ

Floats = NDArray[np.float64]

SMALL_WIDTH, SMALL_HEIGHT = 32, 18
"""Of the pictures that are kept. [pixel]"""
LOW_RATE_HZ = 1000
"""Of the sound that is kept for the rotor's lines. [Hz]"""
WIDE_RATE_HZ = 8000
BLOCK_S = 0.005
"""Over which level and tone of the sound are kept; a whole number of the tone's periods. [s]"""
GAP_S = 0.03
"""Sound whose time stamps jump by more has a gap. [s]"""


@dataclass(frozen=True, eq=False)
class Watched:
    """What one pass over a film keeps; all moments are the film's."""

    frame_s: Floats
    """Time stamp of each frame. [s]"""
    small: NDArray[np.uint8]
    """Each frame, small, as one row. [grey level]"""
    sound_start_s: float
    low: NDArray[np.float32]
    """Sound at `LOW_RATE_HZ`. [share of full scale]"""
    level: NDArray[np.float32]
    """Root mean square of the sound in each block of `BLOCK_S`. [share of full scale]"""
    tone: NDArray[np.float32]
    """Amplitude at the pitch of the sync tone in each block. [share of full scale]"""
    sound_gaps_s: tuple[float, ...]
    """Where the time stamps of the sound jump. [s]"""
    broken: str
    """Why the film could not be decoded to its end; empty when it could."""


@dataclass
class _Ear:
    """Thins the sound as it comes."""

    to_low: AudioResampler = field(
        default_factory=lambda: AudioResampler("flt", "mono", LOW_RATE_HZ)
    )
    to_wide: AudioResampler = field(
        default_factory=lambda: AudioResampler("flt", "mono", WIDE_RATE_HZ)
    )
    low: list[NDArray[np.float32]] = field(default_factory=list)
    level: list[NDArray[np.float32]] = field(default_factory=list)
    tone: list[NDArray[np.float32]] = field(default_factory=list)
    rest: NDArray[np.float32] = field(default_factory=lambda: np.zeros(0, np.float32))
    start_s: float = 0.0
    expected_s: float | None = None
    gaps: list[float] = field(default_factory=list)

    def hear(self, frame: AudioFrame) -> None:
        at = float(frame.time or 0.0)
        if self.expected_s is None:
            self.start_s = at
        elif abs(at - self.expected_s) > GAP_S:
            self.gaps.append(at)
        self.expected_s = at + frame.samples / frame.sample_rate
        frame.pts = None  # the resamplers count samples themselves
        self.low.extend(_samples(part) for part in self.to_low.resample(frame))
        for part in self.to_wide.resample(frame):
            self._thin(_samples(part))

    def _thin(self, samples: NDArray[np.float32]) -> None:
        size = round(BLOCK_S * WIDE_RATE_HZ)
        joined = np.concatenate([self.rest, samples])
        whole = joined.size // size * size
        blocks, self.rest = joined[:whole].reshape(-1, size), joined[whole:]
        turn = np.exp(-2j * np.pi * TONE_HZ * np.arange(size) / WIDE_RATE_HZ)
        self.level.append(np.sqrt(np.mean(blocks**2, axis=1)))
        self.tone.append((2 / size * np.abs(blocks @ turn)).astype(np.float32))


def watch(path: Path, on_progress: Callable[[float], None] | None = None) -> Watched:
    """Watch and hear a film once, from its beginning to its end.

    Parameters
    ----------
    path : Path
        The film.
    on_progress : callable, optional
        Is called with the film time reached, in seconds, about every 10 s of film.

    Returns
    -------
    Watched
        What the witnesses need: 0.6 kB a frame and 6 kB a second of sound.

    Raises
    ------
    EvidenceError
        If it is no film.
    """
    ear, stamps, small, told, broken = _Ear(), [], [], 0.0, ""
    with open_film(path) as film:
        picture = film.streams.video[0]
        picture.thread_type = "AUTO"
        try:
            for packet in film.demux([picture, *film.streams.audio[:1]]):
                for frame in packet.decode():
                    if isinstance(packet.stream, AudioStream):
                        ear.hear(cast("AudioFrame", frame))
                        continue
                    seen = cast("VideoFrame", frame)
                    stamps.append(float(seen.time))
                    small.append(_small(seen))
                    if on_progress and stamps[-1] > told + 10:
                        told = stamps[-1]
                        on_progress(told)
        except FFmpegError as error:
            broken = str(error.strerror or error).lower()
    order = np.argsort(stamps, kind="stable")
    return Watched(
        np.array(stamps)[order],
        np.array(small, np.uint8).reshape(len(small), -1)[order],
        ear.start_s,
        _joined(ear.low),
        _joined(ear.level),
        _joined(ear.tone),
        tuple(ear.gaps),
        broken,
    )


def _samples(frame: AudioFrame) -> NDArray[np.float32]:
    return frame.to_ndarray().ravel().astype(np.float32)


def _joined(parts: list[NDArray[np.float32]]) -> NDArray[np.float32]:
    return np.concatenate(parts) if parts else np.zeros(0, np.float32)


def _small(frame: VideoFrame) -> NDArray[np.uint8]:
    """Give a frame's luma, each pixel the mean of the patch it stands for."""
    if not frame.format.name.startswith(("yuv", "nv12", "gray")) or "10" in frame.format.name:
        frame = frame.reformat(format="gray")
    plane = frame.planes[0]
    luma = np.frombuffer(memoryview(plane), np.uint8).reshape(plane.height, plane.line_size)
    luma = luma[:, : plane.width]
    rows = np.linspace(0, plane.height, SMALL_HEIGHT + 1).astype(int)
    columns = np.linspace(0, plane.width, SMALL_WIDTH + 1).astype(int)
    thin = max(1, plane.height // 180)
    strips = [luma[a:b:thin].mean(axis=0) for a, b in pairwise(rows)]
    sums = np.add.reduceat(np.array(strips), columns[:-1], axis=1)
    return np.asarray((sums / np.diff(columns)).astype(np.uint8).ravel())
