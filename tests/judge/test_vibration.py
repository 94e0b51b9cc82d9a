"""Metrics of the fast channels: a made stream whose severity, lag and bearing line are known."""

from collections.abc import Collection, Iterator
from dataclasses import replace

import numpy as np
import pytest
from tests.demo_files import LIMITS
from tests.judge.traces import NO_LOAD, make_trace

from spinproof.judge.judging import judge
from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.fast import FastFile, FastSpec
from spinproof.model.head import Bearing
from spinproof.model.judgement import Judgement, Verdict
from spinproof.model.limit import Basis, Limit, LimitSet
from spinproof.model.trace import Trace

RATE, SCALE, BATCH = 5000, 2e-3, 150_000
OUTER = 3.5848
BEARING = Bearing(elements=9, element_diameter_mm=7.94, pitch_diameter_mm=39.04)
SIZES = (1.2, 0.6, 0.1)


def channel(role: Role, scale: float, unit: str) -> Channel:
    return Channel(
        name=role.value,
        role=role,
        first_register=0,
        type=CountType.I16,
        scale=scale,
        unit=unit,
        sample_rate_hz=RATE,
        instrument=Instrument(name="AC-1", standard_uncertainty=0.0, relative_uncertainty=0.01),
    )


CHANNELS = (
    channel(Role.ACCELERATION_VERTICAL, SCALE, "m/s2"),
    channel(Role.ACCELERATION_HORIZONTAL, SCALE, "m/s2"),
    channel(Role.ACCELERATION_AXIAL, SCALE, "m/s2"),
    channel(Role.SHAFT_PULSE, 1.0, "V"),
)


class Stream:
    """A fast stream that lies in memory."""

    def __init__(self, counts: np.ndarray, channels: tuple[Channel, ...] = CHANNELS) -> None:
        self.counts, self.channels = counts, channels
        self.rate_hz, self.start_s, self.samples = float(RATE), 0.0, len(counts)
        self.starts_s = np.arange(0, len(counts), BATCH) / RATE

    def batches(self, channels: Collection[str] | None = None) -> Iterator[np.ndarray]:
        """Give the counts, batch by batch."""
        kept = [i for i, c in enumerate(self.channels) if channels is None or c.name in channels]
        for start in range(0, len(self.counts), BATCH):
            yield self.counts[start : start + BATCH, kept]


def made_counts(trace: Trace) -> np.ndarray:
    """Give accelerations that lag the pulse by 40 degrees, a bearing that rings, and the pulse."""
    rng, t = np.random.default_rng(6), np.arange(int(trace.duration_s * RATE)) / RATE
    optical = trace.signals["optical tach"]
    slow = np.unwrap(optical.counts, period=65536)
    known, first = np.unique(slow, return_index=True)
    edges = trace.signals["optical tach edge"].counts[first] / 1e6
    turns = np.interp(t, edges[1:], known[1:] - known[1])
    angle = 2 * np.pi * turns
    ring = (2 + np.cos(OUTER * angle)) * np.cos(2 * np.pi * 1600 * t)
    values = np.outer(np.cos(angle - np.deg2rad(40)), SIZES)
    values[:, 1] += 0.4 * ring
    values += rng.normal(0, 0.05, values.shape)
    pulse = 3000 * (np.mod(turns, 1) < 0.2) * (turns > 0)
    return np.column_stack((np.rint(values / SCALE), pulse)).astype(np.int16)


def with_stream(trace: Trace, stream: Stream) -> Trace:
    spec = FastSpec(
        run="T-1",
        stream="fast",
        channels=stream.channels,
        nominal_rate_hz=RATE,
        rate_hz=RATE,
        start_s=0.0,
    )
    file = FastFile(sha256="0" * 64, samples=stream.samples, size=1, spec=spec)
    return replace(trace, fast=(file,), open_fast=lambda _: stream)


@pytest.fixture(scope="module")
def counts() -> np.ndarray:
    return made_counts(make_trace())


def judged(stream: Stream | None, bearing: Bearing | None = None, limits=LIMITS) -> Judgement:
    trace = make_trace()
    head = trace.header.head.model_copy(update={"bearing": bearing})
    if stream is not None:
        trace = with_stream(trace, stream)
    return judge(trace, trace.header.recipe, head, limits, NO_LOAD)


def test_a_rotor_s_velocity_and_lag_are_told_in_the_worst_direction(counts):
    judgement = judged(Stream(counts))
    speed = judgement.metric("hold_speed", 3).value / 60
    expected = 1000 * SIZES[0] / (2 * np.pi * speed * np.sqrt(2))

    for name in ("severity", "severity_1x"):
        metric = judgement.metric(name, 3)
        assert metric.value == pytest.approx(expected, rel=0.005)
        assert metric.uncertainty == pytest.approx(0.01 * expected, rel=0.9)
        assert "acceleration-vertical" in metric.note
    lag = judgement.metric("lag_1x", 3)
    assert abs(lag.value - 40) < 2 * lag.uncertainty < 5


def test_below_the_band_only_what_is_tracked_tells_the_rotor(counts):
    judgement = judged(Stream(counts))
    slow = next(s for s, m in _holds(judgement) if 0 < m < 600)
    speed = judgement.metric("hold_speed", slow).value / 60
    expected = 1000 * SIZES[0] / (2 * np.pi * speed * np.sqrt(2))

    assert judgement.metric("severity_1x", slow).value == pytest.approx(expected, rel=0.01)
    assert judgement.metric("severity", slow).value < 0.5 * expected


def test_a_bearing_s_outer_race_stands_out(counts):
    judgement = judged(Stream(counts), BEARING)
    outer = judgement.metric("envelope_outer", 3).value

    assert 0.849 * 0.4 < outer < 1.02 * 0.4  # Hann's window between two lines reads 15 % low
    for part in ("inner", "cage", "element"):
        assert judgement.metric(f"envelope_{part}", 3).value < 0.1 * outer


def test_without_a_bearing_no_line_is_told(counts):
    assert judged(Stream(counts)).metric("envelope_outer", 3) is None


def test_clipped_samples_forbid_the_severity(counts):
    clipped = counts.copy()
    clipped[::500, 2] = 32767
    judgement = judged(Stream(clipped))

    assert judgement.metric("clipped_share", 3).value == pytest.approx(0.2, rel=0.01)
    assert judgement.metric("severity", 3).value is None
    assert "end of the converter's range" in judgement.metric("severity", 3).note


def test_without_a_pulse_the_shaft_s_part_is_not_measured(counts):
    judgement = judged(Stream(counts[:, :3], CHANNELS[:3]))

    assert judgement.metric("severity", 3).value > 0
    assert judgement.metric("lag_1x", 3).value is None
    assert "no pulse of the shaft" in judgement.metric("lag_1x", 3).note


def test_a_limit_on_a_fast_metric_is_kept_or_broken_like_any_other(counts):
    for upper, verdict in ((20.0, Verdict.PASS), (0.5, Verdict.FAIL)):
        metric = judged(Stream(counts), limits=_limit(upper)).metric("severity", 3)
        assert metric.verdict is verdict


def test_a_limit_on_a_fast_metric_is_not_passed_without_a_fast_stream():
    judgement = judged(None, limits=_limit(20.0))

    assert judgement.metric("severity").verdict is Verdict.NOT_MEASURED
    assert "no fast stream" in judgement.metric("severity").note


def test_a_trace_without_a_fast_stream_is_judged_as_ever():
    names = {metric.name for metric in judged(None).metrics}

    assert not names & {"severity", "severity_1x", "lag_1x", "clipped_share", "crest_factor"}


def _limit(upper: float) -> LimitSet:
    limit = Limit(metric="severity", unit="mm/s", upper=upper, basis=Basis.SHOP_RULE, source="test")
    return LimitSet(name="some", limits=(limit,))


def _holds(judgement: Judgement) -> list[tuple[int, float]]:
    return [(m.step, m.value) for m in judgement.metrics if m.name == "hold_speed" and m.value]
