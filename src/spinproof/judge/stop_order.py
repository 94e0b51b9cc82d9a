"""Whether the stop sequence kept its order: what broke it, and what cannot be told apart."""

import numpy as np

from spinproof.judge.readings import Readings, Speed
from spinproof.judge.stop_sequence import StopSequence, change_of
from spinproof.model.head import HeadSpec
from spinproof.model.registers import Status

ENABLE_ALLOWANCE = 0.05
"""Share of the enable speed that the controller's own reading of it may be off."""


def breaches(
    sequence: StopSequence, readings: Readings, head: HeadSpec
) -> tuple[list[str], list[str]]:
    """Give what certainly came out of order, and what cannot be told apart."""
    fired = _fired_fast(sequence, readings, head)
    wrong = [*([fired] if fired else []), *_unguarded(sequence, readings)]
    unclear = []
    moved = ("the positioner moved out", sequence.positioner)
    indexed = ("the index was proven", sequence.home)
    told = ("the seal was told to vent", sequence.vent)
    vented = ("the seal was vented", sequence.vented)
    released = ("the door was released", sequence.released)
    opened = ("the door was opened", sequence.opened)
    for (first_name, first), (second_name, second), must_show in (
        (moved, indexed, True),
        (indexed, told, False),  # a controller may command the vent in the scan that proves it
        (indexed, vented, True),
        (indexed, released, True),
        (vented, released, True),
        (released, opened, True),
    ):
        if second is None:
            continue
        if first is None:
            wrong.append(f"{second_name}, but it was never seen that {first_name}")
        elif second.is_before(first):
            early = first.time_s - second.time_s
            wrong.append(f"{second_name} {early:.2f} s before {first_name}")
        elif must_show and not first.is_before(second):
            unclear.append(f"{second_name} at the same time as {first_name}")
    return wrong, unclear


def _unguarded(sequence: StopSequence, readings: Readings) -> list[str]:
    """Say whether the rotor was driven without a locked door, or again after the stop."""
    if readings.inputs is None:
        return []
    inputs, found = readings.inputs, []
    driven = inputs.state(Status.MOTOR_ENABLED)
    safe = inputs.state(Status.DOOR_LOCKED) & inputs.state(Status.DOOR_CLOSED)
    if (driven & ~safe).any():
        moment = float(inputs.time_s[np.argmax(driven & ~safe)])
        found.append(f"the motor was enabled at {moment:.1f} s without a closed and locked door")
    if sequence.stop is not None:
        again = change_of(inputs, Status.MOTOR_ENABLED, sequence.stop.time_s, rising=True)
        if again is not None:
            found.append(f"the motor was enabled again at {again.time_s:.1f} s, after the stop")
    return found


def _fired_fast(sequence: StopSequence, readings: Readings, head: HeadSpec) -> str | None:
    """Say how fast the rotor was when the positioner moved out, if it was too fast."""
    if sequence.positioner is None or readings.reference is None:
        return None
    moment = sequence.positioner.time_s
    found = [
        _free_speed(speed, moment)
        for speed in (readings.reference, readings.own)
        if speed is not None
    ]
    speeds = [speed for speed in found if speed is not None]
    if speeds and min(speeds) > head.index_enable_rpm * (1 + ENABLE_ALLOWANCE):
        return (
            f"the positioner moved out at {min(speeds):.0f} rpm, "
            f"above the index enable speed of {head.index_enable_rpm:g} rpm"
        )
    return None


def _free_speed(speed: Speed, moment: float) -> float | None:
    """Speed at a moment, carried on from the last two readings before it."""
    before = speed.time_s < moment
    if np.count_nonzero(before) < 2:
        return None
    time, rpm = speed.time_s[before][-2:], speed.rpm[before][-2:]
    slope = min((rpm[1] - rpm[0]) / (time[1] - time[0]), 0.0)
    return max(float(rpm[1] + slope * (moment - time[1])), 0.0)
