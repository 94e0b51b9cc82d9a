"""Faults as the physics meets them, and the wear that stays between runs."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from spinproof.model.program import Fault, FaultKind


@dataclass(frozen=True, slots=True)
class Disturbances:
    """What is wrong in one run, as numbers that the physics, controller and sensors take.

    Attributes
    ----------
    cut_short_s : float
        By how much the last step ends early. [s]
    stop_after_s : float or None
        When an operator presses stop, counted from the start command. [s]
    speed_scale : float
        True speed in proportion to the speed that the controller believes. [1]
    pulse_factor : float
        Pulses of the head's tach that the stand counts, in proportion to the true ones. [1]
    dropout : float
        Probability with which the head's tach loses a pulse. [1]
    tach_gap_mm : float or None
        Gap of the head's tach, when it is set by force. [mm]
    rinse_close_s : float
        Time that the rinse valve needs to close. [s]
    seal_loss_percent : float
        Pressure that the closed-off seal loses in 60 s. [%]
    vent_s : float
        Time that the seal needs to vent from its working pressure below its release. [s]
    lock_lead_s : float
        How long before the index the door lock lets go; 0 for a sound lock. [s]
    heater_dead : float
        1 when the heater gives nothing. [1]
    dip_bar_g : float or None
        Supply pressure of the water in the middle of the rinse. [bar gauge]
    unbalance_g_mm : float
        Unbalance that comes on top of the rotor's own. [g mm]
    drag_factor : float
        Coulomb drag in proportion to its nominal. [1]
    overshoot_percent : float
        By how much the controller overshoots an acceleration. [%]
    swapped : float
        1 when optical tach and vibration come from the other head. [1]
    clock_step_s : float
        Jump of the device's clock in mid-run. [s]
    lost_blocks : float
        Blocks that are overwritten before anybody can read them. [1]
    stuck_sensor : float
        1 when the nitrogen temperature falls silent in mid-run. [1]
    """

    cut_short_s: float = 0.0
    stop_after_s: float | None = None
    speed_scale: float = 1.0
    pulse_factor: float = 1.0
    dropout: float = 0.0
    tach_gap_mm: float | None = None
    rinse_close_s: float = 0.35
    seal_loss_percent: float = 2.0
    vent_s: float = 1.9
    lock_lead_s: float = 0.0
    heater_dead: float = 0.0
    dip_bar_g: float | None = None
    unbalance_g_mm: float = 0.0
    drag_factor: float = 1.0
    overshoot_percent: float = 0.0
    swapped: float = 0.0
    clock_step_s: float = 0.0
    lost_blocks: float = 0.0
    stuck_sensor: float = 0.0


_SIZES: dict[FaultKind, tuple[str, float, float]] = {
    FaultKind.STEP_CUT_SHORT: ("cut_short_s", 0.0, 3600.0),
    FaultKind.OPERATOR_STOP: ("stop_after_s", 0.0, 7200.0),
    FaultKind.WRONG_SPEED_SCALE: ("speed_scale", 0.5, 1.5),
    FaultKind.WRONG_PULSES_PER_REV: ("pulse_factor", 0.1, 10.0),
    FaultKind.TACH_DROPOUT: ("dropout", 0.0, 1.0),
    FaultKind.TACH_GAP: ("tach_gap_mm", 0.0, 20.0),
    FaultKind.TACH_GAP_CREEP: ("", 0.0, 5.0),
    FaultKind.SLOW_RINSE_VALVE: ("rinse_close_s", 0.05, 120.0),
    FaultKind.SEAL_LEAK: ("seal_loss_percent", 0.0, 99.9),
    FaultKind.LATE_VENT: ("vent_s", 0.05, 600.0),
    FaultKind.DOOR_OUT_OF_ORDER: ("lock_lead_s", 0.0, 600.0),
    FaultKind.HEATER_DEAD: ("heater_dead", 0.0, 0.0),
    FaultKind.DI_PRESSURE_DIP: ("dip_bar_g", 0.0, 20.0),
    FaultKind.UNBALANCE: ("unbalance_g_mm", 0.0, 20000.0),
    FaultKind.BEARING_DRAG: ("drag_factor", 0.1, 5.0),
    FaultKind.BEARING_DRAG_GROWTH: ("", 1.0, 5.0),
    FaultKind.OVERSHOOT: ("overshoot_percent", 0.0, 20.0),
    FaultKind.SWAPPED_CHANNELS: ("swapped", 0.0, 0.0),
    FaultKind.CLOCK_STEP: ("clock_step_s", -600.0, 86400.0),
    FaultKind.LOST_BLOCKS: ("lost_blocks", 1.0, 10000.0),
    FaultKind.STUCK_SENSOR: ("stuck_sensor", 0.0, 0.0),
}
"""Field of ``Disturbances`` and smallest and largest size; no field for wear, no size for flags."""

_FLAGS = {FaultKind.HEATER_DEAD, FaultKind.SWAPPED_CHANNELS, FaultKind.STUCK_SENSOR}


def disturbances(faults: Iterable[Fault]) -> Disturbances:
    """Turn a program's faults into what the simulation takes; of two alike the later holds."""
    fields = {
        _SIZES[fault.kind][0]: 1.0 if fault.kind in _FLAGS else fault.size
        for fault in faults
        if _SIZES[fault.kind][0]
    }
    return replace(Disturbances(), **fields)


def impossible(faults: Iterable[Fault]) -> str | None:
    """Say why a fault's size has no meaning, or None when all have."""
    for fault in faults:
        _, low, high = _SIZES[fault.kind]
        if fault.kind not in _FLAGS and not low <= fault.size <= high:
            return f"{fault.kind} takes a size from {low:g} to {high:g}, not {fault.size:g}"
    return None


NOMINAL_GAP_MM = 0.8
"""Gap of the head's tach when it is set. [mm]"""


@dataclass(frozen=True, slots=True)
class Wear:
    """What stays from run to run, until service puts it back.

    Attributes
    ----------
    gap_mm : float
        By how much the tach's gap has grown. [mm]
    drag_factor : float
        Coulomb drag in proportion to its nominal. [1]
    """

    gap_mm: float = 0.0
    drag_factor: float = 1.0

    def after(self, faults: Iterable[Fault]) -> "Wear":
        """Give the wear after a run with these faults."""
        gap, drag = self.gap_mm, self.drag_factor
        for fault in faults:
            if fault.kind is FaultKind.TACH_GAP_CREEP:
                gap += fault.size
            elif fault.kind is FaultKind.BEARING_DRAG_GROWTH:
                drag *= fault.size
        return Wear(gap, drag)
