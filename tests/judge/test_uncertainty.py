"""What each uncertainty is made of, held against the page that says so; and whether it covers."""

import re
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
from scipy.signal import lfilter
from tests.demo_files import LOWER
from tests.judge.test_seal import heated
from tests.judge.traces import RPM, Scene, judged, make_trace

from spinproof.judge.verdicts import FAST_RUN_UNITS, FAST_UNITS, UNITS
from spinproof.model.channel import Role
from spinproof.model.judgement import Judgement
from spinproof.model.trace import Signal, Trace
from spinproof.physics.rotor import coast_down_time

PAGE = Path(__file__).parents[2] / "docs" / "metrics.md"
WHOLE = {Role.TACH_COUNT, Role.OPTICAL_COUNT, Role.STEP, Role.STATUS}
"""Counts, which no noise reaches."""
EDGES = {Role.TACH_EDGE, Role.OPTICAL_EDGE}
PHI, JITTER_US = 0.8, 100.0
REPEATS = 120


def each(trace: Trace, change: Callable[[Signal], Signal]) -> Trace:
    signals = {name: change(signal) for name, signal in trace.signals.items()}
    return Trace(trace.header, signals, trace.incidents, trace.ending, trace.sha256)


def worse_instrument(signal: Signal) -> Signal:
    made = signal.channel.instrument
    worse = made.model_copy(
        update={
            "standard_uncertainty": 3 * made.standard_uncertainty,
            "relative_uncertainty": 3 * made.relative_uncertainty,
        }
    )
    return Signal(
        signal.channel.model_copy(update={"instrument": worse}), signal.time_s, signal.counts
    )


def thinned(signal: Signal) -> Signal:
    slower = {"sample_rate_hz": signal.channel.sample_rate_hz / 2}
    channel = signal.channel.model_copy(update=slower)
    return Signal(channel, signal.time_s[::2], signal.counts[::2])


def jittered(signal: Signal, rng: np.random.Generator, size_us: float) -> Signal:
    """Move each edge by itself; samples that show the same edge show the same error."""
    edges, which = np.unique(signal.counts, return_inverse=True)
    moved = np.rint(edges + size_us * rng.standard_normal(edges.size)).astype(np.int64)
    return Signal(signal.channel, signal.time_s, np.maximum(moved, 0)[which])


def noisy(rng: np.random.Generator, share: float) -> Callable[[Signal], Signal]:
    """Add first-order noise, in proportion to the instrument's standard uncertainty."""

    def change(signal: Signal) -> Signal:
        channel = signal.channel
        if channel.role in WHOLE:
            return signal
        if channel.role in EDGES:
            return jittered(signal, rng, JITTER_US)
        white = rng.standard_normal(signal.counts.size)
        red = lfilter([np.sqrt(1 - PHI**2)], [1, -PHI], white)
        more = 6 if channel.role is Role.SEAL_PRESSURE and share > 3 else 1  # its fall is no line
        size = more * share * channel.instrument.standard_uncertainty / channel.scale
        return Signal(channel, signal.time_s, np.maximum(np.rint(signal.counts + size * red), 0))

    return change


@cache
def seen(what: str) -> Judgement:
    rng = np.random.default_rng(1)
    changes = {"instrument": worse_instrument, "sampling": thinned, "scatter": noisy(rng, 6)}
    trace = heated(0.0)
    return judged(trace if what == "nothing" else each(trace, changes[what]))


def largest(judgement: Judgement, name: str) -> float:
    return max(
        m.uncertainty for m in judgement.metrics if m.name == name and m.uncertainty is not None
    )


def test_the_page_names_the_parts_of_each_uncertainty():
    """A part that is named widens the uncertainty when it grows; one that is not does not."""
    rows = re.findall(r"^\* `(\w+)`: (.+)$", PAGE.read_text(), re.MULTILINE)
    told = {name: {part.strip() for part in parts.split(",")} for name, parts in rows}
    slow = UNITS.keys() - FAST_UNITS.keys() - FAST_RUN_UNITS.keys()
    before = {name: largest(seen("nothing"), name) for name in slow}
    found = {
        name: {
            part
            for part in ("instrument", "sampling", "scatter")
            if largest(seen(part), name) > 1.006 * before[name]
        }
        or {"exact" if before[name] == 0 else "interval of pulses"}
        for name in slow
    }

    assert told == found


TRUTH: dict[tuple[str, int | None], float] = {
    ("hold_speed", 3): 1750.0,
    ("speed_error", 4): 0.0,
    ("ramp_rate", 3): 50.0,
    ("ramp_error", 4): 0.0,
    ("vibration", 3): 1.80,
    ("motor_current", 4): 0.5,
    ("di_flow", 1): 15.0,
    ("end_resistivity", 1): 17.5,
    ("n2_flow", 3): 170.0,
    ("n2_temperature", 4): 80.0,
    ("coast_time", None): float(
        coast_down_time(
            LOWER.inertia_kg_m2,
            LOWER.coulomb_torque_n_m,
            LOWER.viscous_drag_n_m_s,
            LOWER.quadratic_drag_n_m_s2,
            1100 * RPM,
            LOWER.index_enable_rpm * RPM,
        )
    ),
    ("coast_time_error", None): 0.0,
    ("drag_coulomb", None): LOWER.coulomb_torque_n_m / LOWER.inertia_kg_m2,
    ("drag_viscous", None): 0.0,
    ("drag_windage", None): LOWER.quadratic_drag_n_m_s2 / LOWER.inertia_kg_m2,
    ("seal_loss", None): 100 * (1 - np.exp(-0.02)),
    ("tach_agreement", None): 0.0,
    ("display_agreement", None): 0.0,
}
"""What the made run is like; to these come the moments that each repeat draws anew."""


def repeat(rng: np.random.Generator) -> tuple[Judgement, dict[tuple[str, int | None], float]]:
    """Judge the made run once more: other errors of instruments, other noise, other moments."""
    early, late = rng.uniform(0, 0.05, 4), rng.uniform(0, 0.05, 2)
    scene = Scene(
        end_early_s={n: float(early[n - 1]) for n in (1, 2, 3, 4)},
        index_s=1.8 + float(late[0]),
        vent_s=1.9 + float(late[1]),
    )
    clock, trace = rng.standard_normal(), make_trace(scene)
    noise = noisy(rng, 3)

    def wrong(signal: Signal) -> Signal:
        channel, made = signal.channel, signal.channel.instrument
        if channel.role in WHOLE:
            return signal
        if channel.role in EDGES:
            pace = 1 + made.relative_uncertainty * clock
            paced = Signal(channel, signal.time_s, pace * signal.counts)
            return jittered(paced, rng, made.standard_uncertainty)
        shared = made.standard_uncertainty * rng.standard_normal() / channel.scale
        pace = 1 + made.relative_uncertainty * rng.standard_normal()
        off = Signal(channel, signal.time_s, pace * signal.counts + shared)
        return Signal(channel, signal.time_s, noise(off).counts.astype(np.int64))

    truth = {
        **TRUTH,
        ("step_duration_error", 3): -float(early[2]),
        ("vent_time", None): scene.vent_s,
        ("index_time", None): scene.index_s,
    }
    return judged(each(trace, wrong)), truth


def test_twice_the_standard_uncertainty_covers_the_truth():
    """Each repeat draws an error for each instrument by its certificate, noise and moments."""
    rng, held = np.random.default_rng(2), dict.fromkeys(repeat(np.random.default_rng(0))[1], 0)
    for _ in range(REPEATS):
        found, truth = repeat(rng)
        for (name, step), true in truth.items():
            metric = found.metric(name, step)
            held[name, step] += abs(metric.value - true) <= 2 * metric.uncertainty

    # of 120 at 95 % 105 or fewer come by chance once in 900 such tests
    assert {which: count for which, count in held.items() if count < 106} == {}
