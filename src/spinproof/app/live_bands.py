"""What each trace of a run is expected to do, by its recipe, head and limits."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spinproof.model.channel import Role
from spinproof.model.head import HeadSpec
from spinproof.model.limit import Limit, LimitSet
from spinproof.model.recipe import Recipe, Step
from spinproof.model.trace import Signal

Floats = NDArray[np.float64]

LAG_S = 2.0
"""How far the rotor may lag behind the programmed ramp (common practice, no source). [s]"""
RAMP_SHARE, RAMP_RPM = 0.03, 15.0
"""Beside a ramp: this share of the step's speed, or so many rpm, whichever is more."""
NEAR_SHARE, NEAR_RPM = 0.01, 5.0
"""Speed at the set-point without an agreed limit: 1 % or 5 rpm (common practice, no source)."""
VALVE_S = 3.0
"""What a valve and its line may take to give full flow, or none. [s]"""
FLOW_SHARE = 0.1
"""Flow without an agreed limit: 10 % (common practice, no source)."""
SHUT_SHARE = 0.05
"""Flow that a closed valve may still show, as a share of the nominal one."""
SEAL_S, SEAL_SHARE = 8.0, 0.1
"""The seal is full so long after the start, to within this share of its pressure."""
SEAL_LOSS = 5.0
"""What a closed-off seal may lose without an agreed limit (common practice, no source). [%/min]"""
SAID_S = 1.0
"""A trace is said to be out of its band once it has been for so long. [s]"""

SHOWN = (
    Role.DI_FLOW,
    Role.N2_FLOW,
    Role.N2_TEMPERATURE,
    Role.SEAL_PRESSURE,
    Role.VIBRATION,
    Role.MOTOR_CURRENT,
)
"""What is drawn beside the speed, where a channel measures it."""


@dataclass(frozen=True)
class Entered:
    """A step of the recipe, as the controller entered it."""

    time_s: float
    number: int
    """As the controller states it: a step of the recipe, idle or stopping."""
    from_rpm: float
    """What the set-point was at that moment. [rpm]"""


class Expectation:
    """The expected band of each trace; it knows the steps that were entered so far.

    Parameters
    ----------
    recipe : Recipe
        What is executed.
    head : HeadSpec
        The head's numbers.
    limits : LimitSet or None
        The agreed limits, where there are some.
    """

    def __init__(self, recipe: Recipe, head: HeadSpec, limits: LimitSet | None) -> None:
        self._recipe = recipe
        self._head = head
        self._limits = {limit.metric: limit for limit in limits.limits} if limits else {}
        self.entered: list[Entered] = []
        """Every step so far, in order."""

    def follow(self, new: Mapping[str, Signal]) -> None:
        """Take the controller's steps in."""
        for signal in new.values():
            if signal.channel.role is Role.STEP and signal.time_s.size:
                self._follow(signal)

    def _follow(self, signal: Signal) -> None:
        last = self.entered[-1].number if self.entered else -1
        before = np.concatenate([[last], signal.counts[:-1]])
        for at in np.flatnonzero(signal.counts != before):
            time = float(signal.time_s[at])
            set_point = self._set_point(np.array([time]))[0] if self.entered else 0.0
            self.entered.append(Entered(time, int(signal.counts[at]), float(set_point)))

    def band(self, role: Role, time_s: Floats) -> tuple[Floats, Floats]:
        """Give the lowest and highest expected reading at each moment.

        Parameters
        ----------
        role : Role
            What is measured; `Role.SPEED` is the speed of the rotor.
        time_s : ndarray
            Moments. [s]

        Returns
        -------
        tuple of ndarray
            Lowest and highest, in the channel's unit; NaN where nothing is expected.
        """
        low, high = np.full(time_s.size, np.nan), np.full(time_s.size, np.nan)
        for place, entered in enumerate(self.entered):
            step = self._step(entered.number)
            later = self.entered[place + 1].time_s if place + 1 < len(self.entered) else np.inf
            inside = (time_s >= entered.time_s) & (time_s < later)
            if step is not None and inside.any():
                low[inside], high[inside] = self._in_step(role, place, step, time_s[inside])
        return low, high

    def _in_step(self, role: Role, place: int, step: Step, time_s: Floats) -> tuple[Floats, Floats]:
        since = time_s - self.entered[place].time_s
        match role:
            case Role.SPEED:
                return self._speed(place, step, time_s)
            case Role.DI_FLOW:
                was = self._was(place, "water")
                return _valve(since, *self._flow(role), opens=step.water, was=was)
            case Role.N2_FLOW:
                was = self._was(place, "nitrogen")
                return _valve(since, *self._flow(role), opens=step.nitrogen, was=was)
            case Role.SEAL_PRESSURE:
                return self._seal(time_s - self._started_s())
            case _:
                return np.full(since.size, np.nan), np.full(since.size, self._most(role, step))

    def _most(self, role: Role, step: Step) -> float:
        """Give the highest reading that is expected all through a step, or NaN."""
        limit = self._limits.get("vibration" if role is Role.VIBRATION else "n2_temperature_error")
        most = np.nan if limit is None or limit.upper is None else limit.upper
        if role is Role.N2_TEMPERATURE:
            return np.nan if step.heater_c is None else step.heater_c + most
        return most if role is Role.VIBRATION else np.nan

    def _seal(self, since: Floats) -> tuple[Floats, Floats]:
        full, limit = self._head.seal_pressure_kpa_g, self._limits.get("seal_loss")
        loss = SEAL_LOSS if limit is None or limit.upper is None else limit.upper
        held = (1 - SEAL_SHARE) * full * (1 - loss / 100) ** (since / 60)
        low = np.where(since > SEAL_S, held, -1.0)
        return low, np.full(since.size, (1 + SEAL_SHARE) * full)

    def _speed(self, place: int, step: Step, time_s: Floats) -> tuple[Floats, Floats]:
        now, before = self._set_point(time_s), self._set_point(time_s - LAG_S)
        ramp_s = abs(step.speed_rpm - self.entered[place].from_rpm) / step.ramp_rpm_per_s
        settled = time_s - self.entered[place].time_s > ramp_s + self._settling_s()
        beside = max(RAMP_RPM, RAMP_SHARE * max(step.speed_rpm, self.entered[place].from_rpm))
        limit = self._limits.get("speed_error")
        share = NEAR_SHARE if limit is None or limit.upper is None else limit.upper / 100
        near = max(NEAR_RPM, share * step.speed_rpm)
        low = np.where(settled, step.speed_rpm - near, np.minimum(now, before) - beside)
        high = np.where(settled, step.speed_rpm + near, np.maximum(now, before) + beside)
        return np.maximum(low, 0.0), high

    def _settling_s(self) -> float:
        limit = self._limits.get("settling_time")
        return 5.0 if limit is None or limit.upper is None else limit.upper

    def _set_point(self, time_s: Floats) -> Floats:
        """Give the programmed set-point, ramps included, where steps run; it stays after them."""
        set_point = np.zeros(time_s.size)
        for entered in self.entered:
            step = self._step(entered.number)
            later = time_s >= entered.time_s
            if step is None:
                set_point[later] = entered.from_rpm
                continue
            way = step.speed_rpm - entered.from_rpm
            gone = step.ramp_rpm_per_s * (time_s[later] - entered.time_s)
            set_point[later] = entered.from_rpm + np.sign(way) * np.minimum(gone, abs(way))
        return set_point

    def _flow(self, role: Role) -> tuple[float, float]:
        if role is Role.DI_FLOW:
            limit, nominal = self._limits.get("di_flow"), self._head.di_flow_lpm
            if limit is not None and limit.lower is not None and limit.upper is not None:
                return limit.lower, limit.upper
            return (1 - FLOW_SHARE) * nominal, (1 + FLOW_SHARE) * nominal
        nominal = self._head.n2_flow_slm
        return tuple_of_share(self._limits.get("n2_flow_error"), nominal)

    def _was(self, place: int, valve: str) -> bool:
        before = self._step(self.entered[place - 1].number) if place else None
        return bool(before and getattr(before, valve))

    def _started_s(self) -> float:
        return next(e.time_s for e in self.entered if self._step(e.number) is not None)

    def _step(self, number: int) -> Step | None:
        return self._recipe.steps[number - 1] if 1 <= number <= len(self._recipe.steps) else None


def tuple_of_share(limit: Limit | None, nominal: float) -> tuple[float, float]:
    """Give the lowest and highest of a limit in % of a nominal value.

    Examples
    --------
    >>> tuple_of_share(None, 1000.0)
    (900.0, 1100.0)
    """
    if limit is None or limit.lower is None or limit.upper is None:
        return (1 - FLOW_SHARE) * nominal, (1 + FLOW_SHARE) * nominal
    return nominal * (1 + limit.lower / 100), nominal * (1 + limit.upper / 100)


def _valve(
    since: Floats, low: float, high: float, *, opens: bool, was: bool
) -> tuple[Floats, Floats]:
    """Give the band of a flow behind a valve that may have just moved."""
    moving = (since < VALVE_S) & (opens is not was)
    shut = SHUT_SHARE * high
    lowest = np.where(moving | (not opens), -shut, low)
    return lowest, np.where(moving | opens, high, shut)


class BandWatch:
    """Says of one trace since when it has been out of its band."""

    def __init__(self, name: str, unit: str) -> None:
        self._name = name
        self._unit = unit
        self._since_s: float | None = None
        self._words = ""
        self._now_s = 0.0

    def follow(self, time_s: Floats, values: Floats, low: Floats, high: Floats) -> None:
        """Take new samples in, with the band that belongs to them."""
        if not time_s.size:
            return
        self._now_s = float(time_s[-1])
        out = (values < low) | (values > high)
        within = np.flatnonzero(~out)
        if within.size:
            self._since_s = None
            out[: within[-1] + 1] = False
        if out.any() and self._since_s is None:
            self._since_s = float(time_s[np.argmax(out)])
        if out.any():
            self._words = self._sentence(float(values[-1]), float(low[-1]), float(high[-1]))

    def said(self) -> str | None:
        """Say it, once it has lasted; None while the trace is where it is expected."""
        if self._since_s is None or self._now_s - self._since_s < SAID_S:
            return None
        return f"{self._words}, since {self._now_s - self._since_s:.0f} s."

    def _sentence(self, value: float, low: float, high: float) -> str:
        side, end = ("above", high) if value > high else ("below", low)
        named = f"{self._name[:1].upper()}{self._name[1:]}"
        return f"{named} reads {value:.4g} {self._unit}, {side} the expected {end:.4g}"
