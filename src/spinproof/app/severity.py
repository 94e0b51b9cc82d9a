"""How severe the vibration of a recording was."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_file
from spinproof.files.durable import write_durably
from spinproof.model.errors import DocumentError, TraceError
from spinproof.model.vibration import SeverityOfSecond, SeverityReport, VibrationCalibration
from spinproof.record.pulses import read_pulses
from spinproof.record.wav import WavRecording, read_wav_header
from spinproof.signals.moments import Moments, severity_uncertainty
from spinproof.signals.severity import (
    BAND_HZ,
    MOST_CLIPPED,
    clipped_share,
    crest_factor,
    kurtosis,
    over_windows,
    velocity_severity,
)
from spinproof.signals.tracked import Tracked, tracked_velocity

_BLOCK_S = 20
"""Seconds that are held at once. [s]"""


@dataclass(frozen=True, eq=False)
class Tach:
    """The tach beside a recording."""

    pulses_s: NDArray[np.float64]
    """Moments of its pulses, in the recording's time. [s]"""
    pulses_per_rev: int
    """Pulses in a revolution."""


@dataclass(frozen=True, eq=False)
class _Task:
    recording: WavRecording
    channel: int
    scale: float
    """Acceleration of one count. [m/s2]"""
    tach: Tach | None


def tach_of(path: Path, pulses_per_rev: int) -> Tach:
    """Read the tach's pulses beside a recording.

    Raises
    ------
    DocumentError
        If there is not at least one pulse a revolution.
    """
    if pulses_per_rev < 1:
        raise DocumentError(
            f"{pulses_per_rev} pulses a revolution are no tach",
            where="--pulses-per-rev",
            mend="Give at least 1.",
        )
    return Tach(read_pulses(path), pulses_per_rev)


def measure_severity(
    path: Path,
    calibration: VibrationCalibration,
    *,
    today: date,
    channel: int | None = None,
    tach: Tach | None = None,
) -> SeverityReport:
    """Work out the velocity severity of a WAV recording, in blocks of some seconds.

    Parameters
    ----------
    path : Path
        The recording of an accelerometer.
    calibration : VibrationCalibration
        What its full scale means.
    today : date
        The present date, to tell whether the calibration has ended.
    channel : int, optional
        Channel of the file, from 1; must be given when there are several.
    tach : Tach, optional
        Pulses of the shaft: the velocity at its own speed is told then, below the band too.

    Returns
    -------
    SeverityReport
        Overall, and second by second.

    Raises
    ------
    TraceError
        If it is no recording, is cut off or too short, or the channel is not told.
    """
    recording = read_wav_header(path)
    chosen, rate = _channel(recording, channel), recording.rate_hz
    if recording.frames < rate:
        raise TraceError(
            f"the recording lasts {recording.frames / rate:g} s, less than one whole second",
            where=str(path),
            mend="Record for some seconds at steady speed.",
        )
    scale = calibration.full_scale / recording.full_scale
    seconds, moments = _read(_Task(recording, chosen, scale, tach))
    velocity = over_windows([second.velocity_mm_s / 1e3 for second in seconds])
    resolution = recording.resolution * scale
    u = severity_uncertainty(velocity, calibration.relative_uncertainty, resolution, rate)
    clipped = float(np.mean([second.clipped_share for second in seconds]))
    tracked = [s.once_per_turn_mm_s for s in seconds if s.once_per_turn_mm_s is not None]
    return SeverityReport(
        recording=path.name,
        sha256=sha256_of_file(path),
        channel=chosen,
        rate_hz=rate,
        lowest_hz=BAND_HZ[0],
        highest_hz=BAND_HZ[1],
        calibration=calibration,
        overdue=today > calibration.calibration_due,
        velocity_mm_s=velocity * 1e3,
        standard_uncertainty_mm_s=u * 1e3,
        crest_factor=moments.crest_factor() if moments.moves else None,
        kurtosis=moments.kurtosis() if moments.moves else None,
        clipped_share=clipped,
        believed=clipped < MOST_CLIPPED,
        once_per_turn_mm_s=over_windows(tracked) if tracked else None,
        left_out_s=recording.frames % rate / rate,
        seconds=tuple(seconds),
    )


def write_severity(report: SeverityReport, path: Path) -> None:
    """Write a report as canonical JSON."""
    write_durably(path, canonical_json(report.to_document()) + b"\n")


def _channel(recording: WavRecording, channel: int | None) -> int:
    if channel is None and recording.channels == 1:
        return 1
    if channel is None or not 1 <= channel <= recording.channels:
        raise TraceError(
            f"the recording has {recording.channels} channels"
            + ("" if channel is None else f", and no channel {channel}"),
            where=str(recording.path),
            mend="Say with --channel which one, from 1, the calibration belongs to.",
        )
    return channel


def _read(task: _Task) -> tuple[list[SeverityOfSecond], Moments]:
    rate = task.recording.rate_hz
    moments, seconds = Moments(), list[SeverityOfSecond]()
    for readings in task.recording.blocks(task.channel, _BLOCK_S * rate):
        whole = readings[: readings.size // rate * rate]
        if whole.size:
            moments = moments.with_block(whole * task.scale)
            seconds += _seconds(whole, len(seconds), task)
    return seconds, moments


def _seconds(readings: NDArray[np.float64], before: int, task: _Task) -> list[SeverityOfSecond]:
    rate, top = task.recording.rate_hz, task.recording.highest
    velocity = velocity_severity(readings * task.scale, rate)
    seconds = []
    for at, second in enumerate(readings.reshape(-1, rate)):
        moves, start = bool(np.ptp(second)), before + at
        turning = _tracked(second * task.scale, start, task)
        seconds.append(
            SeverityOfSecond(
                start_s=start,
                velocity_mm_s=float(velocity[at]) * 1e3,
                crest_factor=crest_factor(second) if moves else None,
                kurtosis=kurtosis(second) if moves else None,
                clipped_share=clipped_share(second, -top, top),
                speed_rpm=turning and turning.speed * 60,
                once_per_turn_mm_s=turning and turning.velocity * 1e3,
            )
        )
    return seconds


def _tracked(acceleration: NDArray[np.float64], start: float, task: _Task) -> Tracked | None:
    if task.tach is None:
        return None
    rate, tach = task.recording.rate_hz, task.tach
    return tracked_velocity(acceleration, start, rate, tach.pulses_s, tach.pulses_per_rev)
