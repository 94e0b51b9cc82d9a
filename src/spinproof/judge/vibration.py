"""What the fast channels felt: windows of one second, and the metrics of each step from them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinproof.judge.segments import StepRun
from spinproof.judge.verdicts import measured, missing
from spinproof.model.channel import ACCELERATIONS, Channel, CountType, Role
from spinproof.model.fast import FastSamples
from spinproof.model.head import Bearing, HeadSpec
from spinproof.model.judgement import Metric
from spinproof.model.trace import Trace
from spinproof.signals.bearings import defect_orders
from spinproof.signals.means import mean_of
from spinproof.signals.moments import severity_uncertainty
from spinproof.signals.severity import BAND_HZ, MOST_CLIPPED
from spinproof.signals.windows import Converter, WindowMeter, Windows, pulse_edges

RANGES = {
    CountType.U16: (0, 2**16 - 1),
    CountType.I16: (-(2**15), 2**15 - 1),
    CountType.U32: (0, 2**32 - 1),
    CountType.I32: (-(2**31), 2**31 - 1),
}
DEFECTS = ("outer", "inner", "cage", "element")
"""Parts of a bearing in the order in which their lines are measured."""
SHAFT_NAMES = ("severity_1x", "lag_1x")
SHAPE_NAMES = ("crest_factor", "kurtosis")
ENVELOPE_NAMES = tuple(f"envelope_{part}" for part in DEFECTS)
HOLD_NAMES = ("severity", *SHAFT_NAMES, *SHAPE_NAMES)

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Felt:
    """The windows of a run's fast stream."""

    windows: Windows
    channels: tuple[Channel, ...]
    """One for each direction."""
    rate_hz: float
    has_pulse: bool
    """Whether the stream holds the pulse of the shaft."""

    def inside(self, start: float, end: float) -> NDArray[np.bool_]:
        """Say which windows lie between two moments, whole."""
        begin = self.windows.start_s
        return np.asarray((begin >= start) & (begin + 1 <= end))


def felt_in(trace: Trace, bearing: Bearing | None) -> Felt | None:
    """Measure the fast stream with the accelerations, batch by batch; None when there is none."""
    for samples in trace.fast_samples():
        felt = felt_samples(samples, bearing)
        if felt is not None:
            return felt
    return None


def felt_samples(samples: FastSamples, bearing: Bearing | None) -> Felt | None:
    """Measure one fast stream; None when it holds no accelerations fast enough."""
    directions = tuple(c for c in samples.channels if c.role in ACCELERATIONS)
    if directions and samples.samples and samples.rate_hz > 2 * BAND_HZ[1]:
        return _felt(samples, directions, bearing)
    return None


def vibration_metrics(felt: Felt | None, runs: tuple[StepRun, ...], head: HeadSpec) -> list[Metric]:
    """Give the metrics of the fast channels for each step that ran; none without such a stream."""
    if felt is None:
        return []
    names = HOLD_NAMES + (ENVELOPE_NAMES if head.bearing is not None else ())
    metrics: list[Metric] = []
    for run in runs:
        metrics.append(_clipped(felt, run))
        if run.step.speed_rpm == 0:
            continue
        chosen = felt.inside(*run.hold) if run.hold is not None else np.zeros(0, dtype=np.bool_)
        if not chosen.any():
            why = "no whole second of the fast stream lies in a hold of the speed"
            metrics += [missing(name, why, step=run.number) for name in names]
            continue
        metrics.append(_severity(felt, chosen, run))
        metrics += _shaft(felt, chosen, run)
        metrics += _shape(felt, chosen, run)
        if head.bearing is not None:
            metrics += _envelope(felt, chosen, run)
    return metrics


def _felt(samples: FastSamples, directions: tuple[Channel, ...], bearing: Bearing | None) -> Felt:
    orders: tuple[float, ...] = ()
    if bearing is not None:
        found = defect_orders(
            bearing.elements,
            bearing.element_diameter_mm,
            bearing.pitch_diameter_mm,
            np.deg2rad(bearing.contact_angle_deg),
        )
        orders = (found.outer, found.inner, found.cage, found.element)
    meter = WindowMeter(samples.rate_hz, [_converter(c) for c in directions], orders)
    edges = _edges(samples)
    names = [channel.name for channel in directions]
    parts = [
        meter.measure(counts, float(start), edges)
        for counts, start in zip(samples.batches(names), samples.starts_s, strict=True)
    ]
    return Felt(Windows.joined(parts), directions, samples.rate_hz, edges is not None)


def _converter(channel: Channel) -> Converter:
    lowest, highest = RANGES.get(channel.type, (-(2**31), 2**31 - 1))
    return Converter(channel.scale, lowest, highest, channel.missing)


def _edges(samples: FastSamples) -> Floats | None:
    """Find the edges of the shaft's pulse in two passes over it: its range first."""
    pulse = next((c.name for c in samples.channels if c.role is Role.SHAFT_PULSE), None)
    if pulse is None:
        return None
    ends = [(int(level.min()), int(level.max())) for level in samples.batches([pulse])]
    lowest, highest = min(end[0] for end in ends), max(end[1] for end in ends)
    levels = samples.batches([pulse])
    return pulse_edges(levels, samples.starts_s, samples.rate_hz, lowest, highest)


def _clipped(felt: Felt, run: StepRun) -> Metric:
    shares = felt.windows.clipped[felt.inside(run.start_s, run.end_s)]
    if not shares.size:
        why = "no whole second of the fast stream lies in the step"
        return missing("clipped_share", why, step=run.number)
    return measured("clipped_share", 100 * float(shares.mean(axis=0).max()), 0.0, step=run.number)


def _unbelievable(felt: Felt, chosen: NDArray[np.bool_]) -> str | None:
    """Say why nothing is told from windows whose samples hit the end of the range."""
    share = float(felt.windows.clipped[chosen].mean(axis=0).max())
    if share < MOST_CLIPPED:
        return None
    return f"{100 * share:.2g} % of the samples lie at an end of the converter's range"


def _severity(felt: Felt, chosen: NDArray[np.bool_], run: StepRun) -> Metric:
    name, why = "severity", _unbelievable(felt, chosen)
    found = [
        (*_root_mean_square(felt.windows.severity[chosen, axis]), channel)
        for axis, channel in enumerate(felt.channels)
    ]
    found = [each for each in found if np.isfinite(each[0])]
    if why is not None or not found:
        return missing(name, why or "samples are missing in every second", step=run.number)
    value, scatter, channel = max(found, key=lambda each: each[0])
    windows = int(chosen.sum())
    noise = value / (2 * np.sqrt((BAND_HZ[1] - BAND_HZ[0]) * windows))
    own = _instrument(channel, value, felt.rate_hz, BAND_HZ[0])
    spread = float(np.hypot(own, max(scatter, noise)))
    note = f"{channel.name}, {windows} s"
    return measured(name, 1000 * value, 1000 * spread, step=run.number, note=note)


def _shaft(felt: Felt, chosen: NDArray[np.bool_], run: StepRun) -> list[Metric]:
    """Give what turns with the shaft: severity of the worst direction, and its lag."""
    why = _unbelievable(felt, chosen)
    if not felt.has_pulse:
        why = "the fast stream holds no pulse of the shaft"
    vectors, speed = felt.windows.vector[chosen], felt.windows.speed[chosen]
    known = np.isfinite(vectors).all(axis=1) & (speed > 0)
    if why is None and not known.any():
        why = "no second holds even pulses of the shaft"
    if why is not None:
        return [missing(name, why, step=run.number) for name in SHAFT_NAMES]
    turning = 2 * np.pi * speed[known, np.newaxis]
    velocity = vectors[known] / turning / np.sqrt(2)
    axis = int(np.argmax(np.abs(velocity.mean(axis=0))))
    channel, middle = felt.channels[axis], complex(velocity[:, axis].mean())
    size = abs(middle)
    turned = velocity[:, axis] * np.conj(middle) / size if size else velocity[:, axis]
    along, across = mean_of(turned.real), mean_of(turned.imag)
    own = _instrument(channel, size, felt.rate_hz, float(speed[known].mean()))
    lag = float(np.rad2deg(-np.angle(middle))) % 360
    late = 360 * float(speed[known].mean()) / felt.rate_hz / np.sqrt(12)  # one sample at the edge
    unsure = float(np.rad2deg(across.uncertainty / size)) if size else np.nan
    return [
        measured(
            "severity_1x",
            1000 * size,
            1000 * float(np.hypot(own, along.uncertainty)),
            step=run.number,
            note=channel.name,
        ),
        measured("lag_1x", lag, float(np.hypot(unsure, late)), step=run.number, note=channel.name),
    ]


def _shape(felt: Felt, chosen: NDArray[np.bool_], run: StepRun) -> list[Metric]:
    values = (felt.windows.crest[chosen], felt.windows.kurtosis[chosen])
    return [
        _worst_mean(name, each, felt, run) for name, each in zip(SHAPE_NAMES, values, strict=True)
    ]


def _envelope(felt: Felt, chosen: NDArray[np.bool_], run: StepRun) -> list[Metric]:
    """Give the lines of each part of the bearing: all its harmonics together."""
    lines = np.sqrt((felt.windows.envelope[chosen] ** 2).sum(axis=3))
    return [
        _worst_mean(name, lines[:, :, part], felt, run, is_scaled=True)
        for part, name in enumerate(ENVELOPE_NAMES)
    ]


def _worst_mean(
    name: str, values: Floats, felt: Felt, run: StepRun, *, is_scaled: bool = False
) -> Metric:
    """Give the highest of the directions' means, with the scatter of its windows."""
    known = np.isfinite(values).all(axis=1)
    if not known.any():
        why = "no second shows it: too slow, nothing moved, or samples are missing"
        return missing(name, why, step=run.number)
    axis = int(np.argmax(values[known].mean(axis=0)))
    mean, channel = mean_of(values[known, axis]), felt.channels[axis]
    own = channel.instrument.relative_uncertainty * mean.value if is_scaled else 0.0
    spread = float(np.hypot(own, mean.uncertainty))
    return measured(name, mean.value, spread, step=run.number, note=channel.name)


def _root_mean_square(values: Floats) -> tuple[float, float]:
    """Give the root of the mean square of windows, and its standard uncertainty by scatter."""
    known = values[np.isfinite(values)]
    if not known.size:
        return np.nan, np.nan
    mean = mean_of(known**2)
    size = float(np.sqrt(mean.value))
    scatter = mean.uncertainty / (2 * size) if size and np.isfinite(mean.uncertainty) else 0.0
    return size, float(scatter)


def _instrument(channel: Channel, velocity: float, rate_hz: float, at_hz: float) -> float:
    """Give the part of a velocity's standard uncertainty that comes from its channel, in m/s."""
    instrument = channel.instrument
    own = severity_uncertainty(velocity, instrument.relative_uncertainty, channel.scale, rate_hz)
    return float(np.hypot(own, instrument.standard_uncertainty / (2 * np.pi * at_hz)))
