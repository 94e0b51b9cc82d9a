"""The virtual head films itself: a phone's film of a run, with all that a phone gets wrong."""

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from av.container import OutputContainer
from numpy.typing import NDArray

from spinproof.film import demo_sound
from spinproof.film.demo_picture import Scene, build_scene, render
from spinproof.film.sync_mark import MARK_S
from spinproof.model.errors import OutOfRangeError

Floats = NDArray[np.float64]
BATCH = 64
TICKS = 90_000


@dataclass(frozen=True, eq=False)
class FilmedRun:
    """What really happened in front of the camera, over the run's time."""

    time_s: Floats
    speed_rad_s: Floats
    sync_s: tuple[float, ...]
    """Moments at which lamp and tone of a sync mark begin. [s]"""
    wet: Floats
    """Share of the droplets on the window at each moment, 0 to 1."""
    marks: int = 1
    """Marks on the rotor."""
    harmonics: tuple[float, ...] = tuple(1 / (1 + 0.35 * k) for k in range(demo_sound.HARMONICS))


@dataclass(frozen=True)
class Camera:
    """A phone on a stand: its picture, its clock, its microphone, and what is done to its film."""

    width: int = 320
    height: int = 180
    rate_hz: float = 30.0
    exposure_s: float = 1 / 500
    lead_s: float = 6.0
    """From the film's beginning to the run's, by the film's clock. [s]"""
    tail_s: float = 4.0
    """From the run's end to the film's. [s]"""
    drift: float = 0.0
    """By how much its clock runs faster. [s/s]"""
    picture_noise: float = 5.0
    """Standard deviation. [grey level]"""
    loudness: float = 0.06
    """Root mean square of the surroundings as a share of full scale; 0 for a silent film."""
    rotor_db: float = 0.0
    """Power of the rotor's lines at full speed over that of the surroundings. [dB]"""
    voice: float = 0.08
    has_sound: bool = True
    is_rate_variable: bool = False
    cut: tuple[float, float] | None = None
    """Film time at which a piece was taken out, and how long it was. [s]"""
    tags: tuple[tuple[str, str], ...] = ()
    """Metadata that the phone writes, such as a place."""


def film_run(path: Path, run: FilmedRun, camera: Camera, seed: int) -> None:
    """Film a run.

    Parameters
    ----------
    path : Path
        The film, MP4; overwritten.
    run : FilmedRun
        What happens.
    camera : Camera
        How it is filmed.
    seed : int
        Of noise, droplets and voice: the same seed gives the same film.

    Raises
    ------
    OutOfRangeError
        If the run has fewer than two moments.
    """
    if run.time_s.size < 2:
        raise OutOfRangeError(
            "a run of fewer than two moments cannot be filmed",
            where="film_run",
            mend="Give the course of a whole run.",
            mask=np.ones(run.time_s.shape, dtype=bool),
        )
    rng = np.random.default_rng(seed)
    end = camera.lead_s + (1 + camera.drift) * float(run.time_s[-1]) + camera.tail_s
    moments = _frame_times(end, camera, rng)
    scene = build_scene(camera.width, camera.height, camera.picture_noise, rng)
    options = {"fflags": "+bitexact", "movflags": "+use_metadata_tags"}
    with av.open(str(path), "w", format="mp4", options=options) as out:
        for name, value in camera.tags:
            out.metadata[name] = value
        video = out.add_stream("libx264", rate=Fraction(camera.rate_hz).limit_denominator(1001))
        video.width, video.height, video.pix_fmt = camera.width, camera.height, "yuv420p"
        video.options = {"preset": "ultrafast", "crf": "26", "threads": "1"}
        video.codec_context.time_base = video.time_base = Fraction(1, TICKS)
        if camera.has_sound:
            _put_sound(out, run, camera, end, rng)
        _put_picture(out, video, run, camera, moments, scene, rng)


def _frame_times(end: float, camera: Camera, rng: np.random.Generator) -> Floats:
    count = int(end * camera.rate_hz)
    moments = np.arange(count) / camera.rate_hz
    if camera.is_rate_variable:
        moments += rng.uniform(0, 0.8 / camera.rate_hz, count)
        moments -= moments[0]
        moments = moments[rng.random(count) > 0.03]
    return moments


def _kept(moments: Floats, camera: Camera) -> tuple[NDArray[np.bool_], Floats]:
    """Give which moments stay in the film, and the film's time stamp of each."""
    if camera.cut is None:
        return np.ones(moments.size, dtype=bool), moments
    at, length = camera.cut
    keep = (moments < at) | (moments >= at + length)
    return keep, np.where(moments >= at + length, moments - length, moments)


def _turned(run: FilmedRun, moments: Floats) -> tuple[Floats, Floats]:
    """Give angle and speed of the rotor at moments of the run's time."""
    step = np.diff(run.time_s)
    gained = 0.5 * (run.speed_rad_s[1:] + run.speed_rad_s[:-1]) * step
    angle = np.concatenate([[0.0], np.cumsum(gained)])
    speed = np.interp(moments, run.time_s, run.speed_rad_s, left=0.0, right=0.0)
    return np.interp(moments, run.time_s, angle), speed


def _run_time(film_time: Floats, camera: Camera) -> Floats:
    return np.asarray((film_time - camera.lead_s) / (1 + camera.drift))


def _put_sound(
    out: OutputContainer, run: FilmedRun, camera: Camera, end: float, rng: np.random.Generator
) -> None:
    film_time = np.arange(int(end * demo_sound.RATE_HZ)) / demo_sound.RATE_HZ
    when = _run_time(film_time, camera)
    angle, speed = _turned(run, when)
    loud = camera.loudness * 10 ** (camera.rotor_db / 20)
    amplitudes = np.array(run.harmonics)
    amplitudes *= loud / np.sqrt(0.5 * np.sum(amplitudes**2))
    samples = demo_sound.rotor_sound(angle, speed, amplitudes)
    if camera.loudness:
        samples += camera.loudness * demo_sound.surroundings(film_time, rng)
        samples += camera.voice * demo_sound.voice(film_time, rng)
        samples += 0.3 * demo_sound.sync_tones(when, run.sync_s)
    samples = samples[_kept(film_time, camera)[0]]
    stream = out.add_stream("aac", rate=demo_sound.RATE_HZ, layout="mono")
    stream.bit_rate = 64_000
    size = 1024
    for start in range(0, samples.size, size):
        block = samples[start : start + size].clip(-1, 1).astype(np.float32)[None]
        frame = av.AudioFrame.from_ndarray(block, format="fltp", layout="mono")
        frame.sample_rate, frame.pts = demo_sound.RATE_HZ, start
        frame.time_base = Fraction(1, demo_sound.RATE_HZ)
        out.mux(stream.encode(frame))
    out.mux(stream.encode(None))


def _put_picture(
    out: OutputContainer,
    video: "av.VideoStream",
    run: FilmedRun,
    camera: Camera,
    moments: Floats,
    scene: Scene,
    rng: np.random.Generator,
) -> None:
    keep, stamps = _kept(moments, camera)
    moments, stamps = moments[keep], stamps[keep]
    when = _run_time(moments, camera)
    angle, speed = _turned(run, when)
    wet = np.interp(when, run.time_s, run.wet, left=float(run.wet[0]))
    lamp = np.zeros(when.size, dtype=bool)
    for mark in run.sync_s:
        lamp |= (when >= mark) & (when < mark + MARK_S)
    planes = np.full((camera.height * 3 // 2, camera.width), 128, np.uint8)
    for start in range(0, when.size, BATCH):
        part = slice(start, start + BATCH)
        blur = speed[part] * camera.exposure_s
        frames = render(scene, angle[part], blur, run.marks, wet[part], lamp[part], rng)
        for luma, stamp in zip(frames, stamps[part], strict=True):
            planes[: camera.height] = luma
            frame = av.VideoFrame.from_ndarray(planes, format="yuv420p")
            frame.pts, frame.time_base = round(stamp * TICKS), Fraction(1, TICKS)
            out.mux(video.encode(frame))
    out.mux(video.encode(None))
