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
    frozen : float
        1 when the nitrogen temperature repeats itself from mid-run on. [1]
    spike_k : float
        By how much one reading of the nitrogen temperature jumps. [K]
    vibration_factor : float
        What the vibration channel shows, in proportion to the truth. [1]
    dry_speed_factor : float
        Dry speeds that the controller executes, in proportion to those loaded. [1]
    rub_n_m : float
        Torque of a rubbing seal. [N m]
    windage_factor : float
        Quadratic drag in proportion to its nominal. [1]
    brake_n_m : float
        Drag that comes on top while the rotor coasts. [N m]
    added_kg_m2 : float
        Inertia that comes on top. [kg m²]
    mount_factor : float
        Stiffness of the mounts in proportion to its nominal. [1]
    torque_limit_n_m : float or None
        What the amplifier gives at most, when it gives less than it should. [N m]
    gain_factor : float
        Gain of the speed controller in proportion to its nominal. [1]
    slip_n_m : float or None
        Torque above which the belt slips. [N m]
    loose_g_mm : float
        Unbalance that comes at once in mid-run. [g mm]
    shift_g_mm : float
        Unbalance that creeps in after the first spin-up. [g mm]
    doubled : float
        Probability with which the head's tach counts a pulse twice. [1]
    silent_below_rpm : float
        Speed below which the head's tach falls silent in the stop. [rpm]
    home_dead : float
        1 when the home sensor never answers. [1]
    early_rpm : float or None
        Speed at which the positioner comes out, when it is too early. [rpm]
    n2_factor : float
        Flow of nitrogen in proportion to its nominal. [1]
    di_factor : float
        Flow of water in proportion to its nominal. [1]
    defect_mm : float
        Width of a damaged place on the bearing's outer race. [mm]
    clip_m_s2 : float or None
        Where the accelerometers clip, when it is too low. [m/s²]
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
    frozen: float = 0.0
    spike_k: float = 0.0
    vibration_factor: float = 1.0
    dry_speed_factor: float = 1.0
    rub_n_m: float = 0.0
    windage_factor: float = 1.0
    brake_n_m: float = 0.0
    added_kg_m2: float = 0.0
    mount_factor: float = 1.0
    torque_limit_n_m: float | None = None
    gain_factor: float = 1.0
    slip_n_m: float | None = None
    loose_g_mm: float = 0.0
    shift_g_mm: float = 0.0
    doubled: float = 0.0
    silent_below_rpm: float = 0.0
    home_dead: float = 0.0
    early_rpm: float | None = None
    n2_factor: float = 1.0
    di_factor: float = 1.0
    defect_mm: float = 0.0
    clip_m_s2: float | None = None


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
    FaultKind.FROZEN_SENSOR: ("frozen", 0.0, 0.0),
    FaultKind.SPIKE: ("spike_k", -200.0, 200.0),
    FaultKind.VIBRATION_SCALE: ("vibration_factor", 0.01, 100.0),
    FaultKind.WRONG_RECIPE: ("dry_speed_factor", 0.2, 2.0),
    FaultKind.SEAL_RUB: ("rub_n_m", 0.0, 2.0),
    FaultKind.WINDAGE: ("windage_factor", 0.1, 5.0),
    FaultKind.BRAKE_DRAG: ("brake_n_m", 0.0, 20.0),
    FaultKind.ADDED_INERTIA: ("added_kg_m2", 0.0, 1.0),
    FaultKind.SOFT_MOUNTS: ("mount_factor", 0.05, 20.0),
    FaultKind.WEAK_DRIVE: ("torque_limit_n_m", 0.05, 100.0),
    FaultKind.LOW_GAIN: ("gain_factor", 0.05, 2.0),
    FaultKind.BELT_SLIP: ("slip_n_m", 0.05, 100.0),
    FaultKind.LOOSE_WEIGHT: ("loose_g_mm", 0.0, 20000.0),
    FaultKind.WAFER_SHIFT: ("shift_g_mm", 0.0, 20000.0),
    FaultKind.DOUBLE_PULSES: ("doubled", 0.0, 1.0),
    FaultKind.TACH_DIES: ("silent_below_rpm", 0.0, 3000.0),
    FaultKind.HOME_SENSOR_DEAD: ("home_dead", 0.0, 0.0),
    FaultKind.EARLY_POSITIONER: ("early_rpm", 1.0, 1000.0),
    FaultKind.NITROGEN_LOW: ("n2_factor", 0.05, 2.0),
    FaultKind.WATER_PINCHED: ("di_factor", 0.05, 2.0),
    FaultKind.BEARING_DEFECT: ("defect_mm", 0.0, 10.0),
    FaultKind.CLIPPED_ACCELEROMETER: ("clip_m_s2", 0.1, 1000.0),
}
"""Field of ``Disturbances`` and smallest and largest size; no field for wear, no size for flags."""

_FLAGS = {
    FaultKind.HEATER_DEAD,
    FaultKind.SWAPPED_CHANNELS,
    FaultKind.STUCK_SENSOR,
    FaultKind.FROZEN_SENSOR,
    FaultKind.HOME_SENSOR_DEAD,
}


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


CREEP_S = 30.0
"""Time in which a loose load creeps. [s]"""
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
