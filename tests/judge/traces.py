"""A trace made by formula, without the virtual head: nominal, or bent where a test wants it."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from tests.demo_files import CR_1, LIMITS, LOWER, LOWER_CHANNELS

from spinproof.judge.judging import judge
from spinproof.model.channel import Role
from spinproof.model.channel_map import ChannelMap
from spinproof.model.judgement import Judgement
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.model.registers import STEP_IDLE, STEP_STOPPING, Status
from spinproof.model.run import Ending, Incident, Purpose, RunHeader
from spinproof.model.trace import Signal, Trace

RATE_HZ, START_S = 20.0, 4.5
NO_LOAD = Load(name="empty rotor")
TC, K, J = LOWER.coulomb_torque_n_m, LOWER.quadratic_drag_n_m_s2, LOWER.inertia_kg_m2
RPM = np.pi / 30


@dataclass
class Scene:
    """How a run goes; the defaults are a good run of the demo's recipe."""

    recipe: Recipe = CR_1
    end_early_s: dict[int, float] = field(default_factory=dict)
    """By step number."""
    speed_factor: float = 1.0
    stop_rpm: float = 40.0
    """Speed at which the positioner comes out."""
    index_s: float = 1.8
    vent_delay_s: float = 0.0
    vent_s: float = 1.9
    release_delay_s: float = 0.3
    """From the vented seal to the release of the lock."""
    open_delay_s: float = 0.8
    is_indexed: bool = True
    own_lost_below_rpm: float = 0.0
    optical_lost_after_stop_s: float | None = None

    def times(self) -> dict[str, float]:
        """Moments of the run, by what happens then."""
        at = {"start": START_S}
        now, speed = START_S, 0.0
        for number, step in enumerate(self.recipe.steps, start=1):
            at[f"step {number}"] = now
            ramp = abs(step.speed_rpm - speed) / step.ramp_rpm_per_s
            on_top = ramp if step.timer_basis.value == "from-at-speed" else 0.0
            now += step.duration_s + on_top - self.end_early_s.get(number, 0.0)
            speed = step.speed_rpm
        at["stop"] = now
        at["positioner"] = now + _coast_s(speed * self.speed_factor, self.stop_rpm)
        at["home"] = at["positioner"] + self.index_s
        at["vent"] = at["home"] + self.vent_delay_s
        at["vented"] = at["vent"] + self.vent_s
        at["release"] = at["vented"] + self.release_delay_s
        at["open"] = at["release"] + self.open_delay_s
        at["end"] = at["open"] + 2 if self.is_indexed else at["positioner"] + 20
        return at


def make_trace(
    scene: Scene | None = None,
    bend: Callable[[dict[str, np.ndarray], np.ndarray], None] | None = None,
    *,
    keep: Callable[[np.ndarray], np.ndarray] | None = None,
    without: tuple[Role, ...] = (),
    ending: Ending = Ending.COMPLETE,
    incidents: tuple[Incident, ...] = (),
    **header: object,
) -> Trace:
    """Make a trace; ``bend`` changes the readings in place, ``keep`` says which samples stay."""
    scene = scene or Scene()
    at = scene.times()
    time = np.arange(0, at["end"], 1 / RATE_HZ)
    values = _readings(scene, at, time)
    if bend is not None:
        bend(values, time)
    kept = np.ones(time.size, dtype=bool) if keep is None else keep(time)
    channels = tuple(c for c in LOWER_CHANNELS.channels if c.role not in without)
    signals = {
        c.name: Signal(
            c,
            time[kept],
            np.where(
                np.isnan(values[c.name][kept]),
                0 if c.missing is None else c.missing,
                np.rint((values[c.name][kept] - c.offset) / c.scale),
            ).astype(np.int64),
        )
        for c in channels
    }
    facts = {
        "run": "T-1",
        "purpose": Purpose.BURN_IN,
        "recipe": scene.recipe,
        "head": LOWER,
        "load": NO_LOAD,
        "channel_map": ChannelMap(
            name="some", head=LOWER.designation, unit_id=2, channels=channels
        ),
        "started_at": "2031-01-01T08:00:00.000Z",
        "source": "formula",
        "stand_identity": "none",
        "simulated": True,
        "recorder_version": "none",
    } | header
    return Trace(RunHeader(**facts), signals, incidents, ending, "0" * 64)


def judged(trace: Trace, recipe: Recipe | None = None, limits: LimitSet = LIMITS) -> Judgement:
    """Judge a trace of the builder."""
    return judge(trace, recipe or trace.header.recipe, LOWER, limits, NO_LOAD)


def _coast_s(start_rpm: float, end_rpm: float) -> float:
    """Time of a coast under the head's own drag, by its closed form."""
    root = np.sqrt(K / TC)
    return (
        J / np.sqrt(TC * K) * (np.arctan(start_rpm * RPM * root) - np.arctan(end_rpm * RPM * root))
    )


def _speed(scene: Scene, at: dict[str, float], time: np.ndarray) -> np.ndarray:
    """Speed over time in rpm: ramps as programmed, coast by closed form, brought home at 36 rpm."""
    rpm, level = np.zeros(time.size), 0.0
    names = [f"step {n}" for n in range(1, len(scene.recipe.steps) + 1)]
    for name, step in zip(names, scene.recipe.steps, strict=True):
        gone = np.maximum(time - at[name], 0) * step.ramp_rpm_per_s
        target = step.speed_rpm
        moved = (
            np.minimum(level + gone, target)
            if target >= level
            else np.maximum(level - gone, target)
        )
        rpm = np.where(time >= at[name], moved, rpm)
        level = target
    rpm *= scene.speed_factor
    level *= scene.speed_factor
    root = np.sqrt(K / TC)
    angle = np.arctan(level * RPM * root) - np.sqrt(TC * K) / J * (time - at["stop"])
    coast = np.tan(np.maximum(angle, 0)) / root / RPM
    rpm = np.where(time >= at["stop"], coast, rpm)
    if scene.is_indexed:
        home = np.clip((at["home"] - time) / 0.1, 0, 1) * min(36.0, scene.stop_rpm)
        rpm = np.where(time >= at["positioner"], np.minimum(coast, home), rpm)
    return rpm


def _pulses(
    time: np.ndarray, fine: np.ndarray, rpm: np.ndarray, per_rev: int, lost: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Pulse count and moment of the last pulse at each sample."""
    turns = np.concatenate([[0], np.cumsum((rpm[1:] + rpm[:-1]) / 2 * np.diff(fine) / 60)])
    turned = np.concatenate([[True], np.diff(turns) > 0])
    moments = np.interp(
        np.arange(1, int(turns[-1] * per_rev) + 1) / per_rev, turns[turned], fine[turned]
    )
    moments = moments[~np.interp(moments, fine, lost).astype(bool)]
    count = np.searchsorted(moments, time, side="right")
    last = np.where(count > 0, moments[np.maximum(count - 1, 0)], 0.0)
    return (count % 65536).astype(float), np.rint(last * 1e6)


def _readings(scene: Scene, at: dict[str, float], time: np.ndarray) -> dict[str, np.ndarray]:
    fine = np.arange(0, at["end"], 0.002)
    rpm = _speed(scene, at, fine)
    stopping = fine >= at["stop"]
    own_lost = stopping & (rpm < scene.own_lost_below_rpm)
    blind = scene.optical_lost_after_stop_s
    optical_lost = stopping & (blind is not None) & (fine > at["stop"] + (blind or 0))
    tach, tach_edge = _pulses(time, fine, rpm, 6, own_lost)
    optical, optical_edge = _pulses(time, fine, rpm, 1, optical_lost)
    shown = np.interp(time, fine, rpm)
    step, during = _steps(scene, at, time)
    water, gas = (np.isin(step, during[name]) for name in ("water", "nitrogen"))
    heated = np.isin(step, during["heated"])
    sealed = (time >= 1.5) & ((time < at["vent"]) | (not scene.is_indexed))
    pressure = np.where(sealed, 200 * np.minimum((time - 1.5) / 1.5, 1), 0)
    pressure *= np.exp(-0.02 * time / 60)
    held = 200 * np.exp(-0.02 * at["vent"] / 60)
    leaving = held * (5 / held) ** (np.maximum(time - at["vent"], 0) / scene.vent_s)
    pressure = np.where((time >= at["vent"]) & scene.is_indexed, leaving, pressure)
    return {
        "tach": tach,
        "tach edge": tach_edge,
        "optical tach": optical,
        "optical tach edge": optical_edge,
        "display speed": shown / scene.speed_factor,
        "step": step,
        "status": _status(scene, at, time, water, gas, sealed).astype(float),
        "seal pressure": pressure,
        "vibration": 0.05 + shown / 1000,
        "motor current": 0.5 + 0 * time,
        "DI flow": np.where(water, 15.0, 0.0),
        "DI pressure": 2.8 + 0 * time,
        "drain resistivity": 17.5 + 0 * time,
        "feed resistivity": 17.6 + 0 * time,
        "N2 flow": np.where(gas, 170.0, 0.0),
        "N2 temperature": np.where(heated, 80.0, 21.0),
    }


def _steps(scene: Scene, at: dict[str, float], time: np.ndarray):
    step = np.full(time.size, float(STEP_IDLE))
    for number in range(1, len(scene.recipe.steps) + 1):
        step[time >= at[f"step {number}"]] = number
    step[time >= at["stop"]] = STEP_STOPPING
    numbered = list(enumerate(scene.recipe.steps, start=1))
    during = {
        "water": [n for n, s in numbered if s.water],
        "nitrogen": [n for n, s in numbered if s.nitrogen],
        "heated": [n for n, s in numbered if s.heater_c is not None],
    }
    return step, during


def _status(scene, at, time, water, gas, sealed) -> np.ndarray:
    safe = scene.is_indexed
    bits = {
        Status.RUNNING: (time >= 1.5) & ((time < at["release"]) | (not safe)),
        Status.MOTOR_ENABLED: (time >= at["start"]) & (time < at["stop"]),
        Status.DI_VALVE: water,
        Status.N2_VALVE: gas,
        Status.POSITIONER_OUT: (time >= at["positioner"]) & safe,
        Status.HOME_SENSOR: (time >= at["home"]) & safe,
        Status.SEAL_VALVE: sealed,
        Status.DOOR_LOCKED: (time >= 1.5) & ((time < at["release"]) | (not safe)),
        Status.DOOR_CLOSED: (time < at["open"]) | (not safe),
    }
    return sum(int(bit) * is_set.astype(np.int64) for bit, is_set in bits.items())
