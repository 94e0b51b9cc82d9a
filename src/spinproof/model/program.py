"""What a simulated stand is told to do: recipe, load and faults."""

from enum import StrEnum
from typing import Annotated

from pydantic import Field

from spinproof.model.load import Load
from spinproof.model.noun import Noun
from spinproof.model.recipe import Recipe


class FaultKind(StrEnum):
    """What can be made to go wrong on the virtual head. ``size`` has the unit named here."""

    STEP_CUT_SHORT = "step-cut-short"
    """The last step ends early by ``size`` seconds."""
    OPERATOR_STOP = "operator-stop"
    """An operator presses stop ``size`` seconds after the start."""
    WRONG_SPEED_SCALE = "wrong-speed-scale"
    """The controller's own scale is off: the rotor turns ``size`` times the set-point, while the
    display agrees with the set-point."""
    WRONG_PULSES_PER_REV = "wrong-pulses-per-rev"
    """The stand's tach counter sees ``size`` times the pulses it should."""
    TACH_DROPOUT = "tach-dropout"
    """The head's own tach loses each pulse with probability ``size``."""
    TACH_GAP = "tach-gap"
    """The tach's gap is ``size`` millimetres; nominal 0.8."""
    TACH_GAP_CREEP = "tach-gap-creep"
    """The tach's gap grows by ``size`` millimetres with every run, until service."""
    SLOW_RINSE_VALVE = "slow-rinse-valve"
    """The rinse valve needs ``size`` seconds to close."""
    SEAL_LEAK = "seal-leak"
    """The closed-off seal loses ``size`` percent of its pressure in 60 s."""
    LATE_VENT = "late-vent"
    """The seal needs ``size`` seconds to vent below 5 kPa."""
    DOOR_OUT_OF_ORDER = "door-out-of-order"
    """The door lock lets go ``size`` seconds before the rotor is indexed."""
    HEATER_DEAD = "heater-dead"
    """The nitrogen heater gives nothing."""
    DI_PRESSURE_DIP = "di-pressure-dip"
    """The supply's water pressure falls to ``size`` bar gauge during the rinse."""
    UNBALANCE = "unbalance"
    """``size`` g mm more unbalance in the rotor."""
    BEARING_DRAG = "bearing-drag"
    """Coulomb drag is ``size`` times its nominal."""
    BEARING_DRAG_GROWTH = "bearing-drag-growth"
    """Coulomb drag grows by the factor ``size`` with every run, until service."""
    OVERSHOOT = "overshoot"
    """The speed controller overshoots each acceleration by ``size`` percent."""
    SWAPPED_CHANNELS = "swapped-channels"
    """Optical tach and vibration come from the other head of the machine."""
    CLOCK_STEP = "clock-step"
    """The device's clock jumps by ``size`` seconds in the middle of the run."""
    LOST_BLOCKS = "lost-blocks"
    """The logger overwrites ``size`` blocks before they can be read."""
    STUCK_SENSOR = "stuck-sensor"
    """The nitrogen temperature sends no reading from the middle of the run on."""
    FROZEN_SENSOR = "frozen-sensor"
    """The nitrogen temperature repeats one reading from the middle of the run on."""
    SPIKE = "spike"
    """One reading of the nitrogen temperature jumps by ``size`` kelvin in the middle of the run."""
    VIBRATION_SCALE = "vibration-scale"
    """The vibration channel shows ``size`` times the true value: 1.414 when peaks pass for rms."""
    WRONG_RECIPE = "wrong-recipe"
    """The controller executes another recipe: its dry speeds are ``size`` times those loaded."""
    SEAL_RUB = "seal-rub"
    """A seal rubs on the rotor with ``size`` N m, and is heard as broad-band vibration."""
    WINDAGE = "windage"
    """Windage is ``size`` times its nominal: a bent bar, a blocked exhaust."""
    BRAKE_DRAG = "brake-drag"
    """Something brakes with ``size`` N m, in the stop alone."""
    ADDED_INERTIA = "added-inertia"
    """``size`` kg m2 more turn with the rotor."""
    SOFT_MOUNTS = "soft-mounts"
    """The stiffness of the mounts is ``size`` times its nominal."""
    WEAK_DRIVE = "weak-drive"
    """The amplifier gives ``size`` N m at most."""
    LOW_GAIN = "low-gain"
    """The gain of the speed controller is ``size`` times its nominal."""
    BELT_SLIP = "belt-slip"
    """The belt slips above ``size`` N m."""
    LOOSE_WEIGHT = "loose-weight"
    """``size`` g mm of unbalance come at once, in the middle of the run."""
    WAFER_SHIFT = "wafer-shift"
    """The load creeps after the first spin-up: ``size`` g mm more within half a minute."""
    DOUBLE_PULSES = "double-pulses"
    """The head's own tach counts each pulse twice with probability ``size``."""
    TACH_DIES = "tach-dies"
    """The head's own tach falls silent below ``size`` rpm, in the stop alone."""
    HOME_SENSOR_DEAD = "home-sensor-dead"
    """The sensor of the home position never answers."""
    EARLY_POSITIONER = "early-positioner"
    """The positioner comes out at ``size`` rpm."""
    NITROGEN_LOW = "nitrogen-low"
    """The flow of nitrogen is ``size`` times its nominal."""
    WATER_PINCHED = "water-pinched"
    """The flow of water is ``size`` times its nominal."""
    BEARING_DEFECT = "bearing-defect"
    """The bearing's outer race has a damaged place ``size`` mm wide, heard as acceleration."""
    CLIPPED_ACCELEROMETER = "clipped-accelerometer"
    """The accelerometers clip at ``size`` m/s2."""


class Fault(Noun):
    """One thing made to go wrong in one run."""

    kind: FaultKind
    size: float = 0.0


class Program(Noun):
    """What a simulated stand is told to do in its next run."""

    run_number: Annotated[int, Field(ge=1, le=65535)]
    seed: Annotated[int, Field(ge=0)]
    recipe: Recipe
    load: Load
    faults: Annotated[tuple[Fault, ...], Field(strict=False)] = ()
