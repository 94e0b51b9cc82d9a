"""How severe the vibration of a recording was."""

from datetime import date
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_file
from spinproof.files.durable import write_durably
from spinproof.model.errors import TraceError
from spinproof.model.vibration import SeverityOfSecond, SeverityReport, VibrationCalibration
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

_BLOCK_S = 20
"""Seconds that are held at once. [s]"""


def measure_severity(
    path: Path, calibration: VibrationCalibration, *, today: date, channel: int | None = None
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
    chosen = _channel(recording, channel)
    rate = recording.rate_hz
    if recording.frames < rate:
        raise TraceError(
            f"the recording lasts {recording.frames / rate:g} s, less than one whole second",
            where=str(path),
            mend="Record for some seconds at steady speed.",
        )
    scale = calibration.full_scale / recording.full_scale
    moments, seconds = Moments(), list[SeverityOfSecond]()
    for readings in recording.blocks(chosen, _BLOCK_S * rate):
        whole = readings[: readings.size // rate * rate]
        moments = moments.with_block(whole * scale)
        seconds += _seconds(whole, scale, recording, len(seconds))
    velocity = over_windows([second.velocity_mm_s / 1e3 for second in seconds])
    resolution = recording.resolution * scale
    u = severity_uncertainty(velocity, calibration.relative_uncertainty, resolution, rate)
    clipped = float(np.mean([second.clipped_share for second in seconds]))
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


def _seconds(
    readings: NDArray[np.float64], scale: float, recording: WavRecording, before: int
) -> list[SeverityOfSecond]:
    if not readings.size:
        return []
    rate, top = recording.rate_hz, recording.highest
    velocity = velocity_severity(readings * scale, rate)
    return [
        SeverityOfSecond(
            start_s=before + at,
            velocity_mm_s=float(velocity[at]) * 1e3,
            crest_factor=crest_factor(second) if np.ptp(second) else None,
            kurtosis=kurtosis(second) if np.ptp(second) else None,
            clipped_share=clipped_share(second, -top, top),
        )
        for at, second in enumerate(readings.reshape(-1, rate))
    ]
