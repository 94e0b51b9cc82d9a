"""The head's controller: the step sequence, both timer bases, and the stop chain."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, auto

from spinproof.model.head import HeadSpec
from spinproof.model.recipe import Recipe, Step, TimerBasis
from spinproof.model.registers import STEP_IDLE, STEP_STOPPING, Status
from spinproof.physics.rotor import RAD_PER_S_PER_RPM, coast_down_time
from spinproof.virtualhead.door import Door, Seal
from spinproof.virtualhead.faults import Disturbances
from spinproof.virtualhead.process import Nitrogen, Water
from spinproof.virtualhead.rotor_drive import Drive, Positioner, Rotor
from spinproof.virtualhead.tach import PulseCounter


@dataclass(slots=True)
class Plant:
    """Everything that the controller reads and moves."""

    rotor: Rotor
    drive: Drive
    positioner: Positioner
    water: Water
    nitrogen: Nitrogen
    seal: Seal
    door: Door
    tach: PulseCounter


class Phase(Enum):
    """Where the controller is in a run."""

    WAITING = auto()
    SEALING = auto()
    STEPPING = auto()
    COASTING = auto()
    INDEXING = auto()
    VENTING = auto()
    RELEASED = auto()
    GIVEN_UP = auto()


class Controller:
    """Executes one recipe, then stops the rotor, indexes it, vents the seal, frees the door.

    Each of these waits for the proof of the one before. When the tach never proves a slow rotor
    the controller gives up, and the door stays locked behind its inflated seal.

    Parameters
    ----------
    plant : Plant
        What it reads and moves.
    spec : HeadSpec
        The head.
    recipe : Recipe
        The steps to execute.
    wrong : Disturbances
        What is wrong in this run.
    """

    WAIT_S = 1.5
    """From the first sample to the start command. [s]"""
    SEALING_S = 3.0
    """From the start command to the first step. [s]"""
    SEALING_LIMIT_S = 15.0
    """How long the seal may take before the controller gives up. [s]"""
    RELEASE_S = 0.2
    """From the vented seal to the release of the lock. [s]"""
    OPEN_S = 0.8
    """From the release of the lock to the open door. [s]"""
    PRESS_S = 0.5
    """How long an operator presses stop. [s]"""
    SILENCE_S = 1.0
    """Time without a pulse after which the tach counts as silent. [s]"""

    def __init__(self, plant: Plant, spec: HeadSpec, recipe: Recipe, wrong: Disturbances) -> None:
        self._plant = plant
        self._spec = spec
        self._steps = recipe.steps
        self._cut_short = wrong.cut_short_s
        self._lock_lead = wrong.lock_lead_s
        self._press_at = None if wrong.stop_after_s is None else self.WAIT_S + wrong.stop_after_s
        self._pressed_until = -1.0
        enable_rpm = wrong.early_rpm or spec.index_enable_rpm
        self._enabling_interval = 60.0 / (enable_rpm * spec.tach_pulses_per_rev)
        self._was_driven = False
        self._since = 0.0
        self._timer_from: float | None = None
        self._vented_at: float | None = None
        self._act: Callable[[float], None] = self._wait
        self.phase = Phase.WAITING
        self.step = STEP_IDLE
        self.finished_at: float | None = None
        """When the door stood open, or the controller gave up; None before. [s]"""

    def press_stop(self, now: float) -> None:
        """Let somebody press stop."""
        self._press_at = now

    def scan(self, now: float) -> None:
        """Read the plant and act on it; once in every step of the simulation."""
        if self._press_at is not None and now >= self._press_at:
            self._press_at = None
            self._pressed_until = now + self.PRESS_S
            if self.phase in {Phase.WAITING, Phase.SEALING, Phase.STEPPING}:
                self._stop(now)
        self._act(now)

    def status(self, now: float) -> Status:
        """Give the bits that the stand's inputs see."""
        plant = self._plant
        bits = {
            Status.RUNNING: self.phase not in {Phase.WAITING, Phase.RELEASED, Phase.GIVEN_UP},
            Status.MOTOR_ENABLED: plant.drive.enabled,
            Status.DI_VALVE: plant.water.valve,
            Status.N2_VALVE: plant.nitrogen.valve,
            Status.HEATER: plant.nitrogen.setpoint_c is not None,
            Status.POSITIONER_OUT: plant.positioner.is_out,
            Status.HOME_SENSOR: plant.positioner.is_home,
            Status.SEAL_VALVE: plant.seal.fed,
            Status.DOOR_LOCKED: plant.door.is_locked,
            Status.DOOR_CLOSED: plant.door.is_closed,
            Status.STOP_PRESSED: now < self._pressed_until,
            Status.FAULT: self.phase is Phase.GIVEN_UP,
        }
        return Status(sum(bit for bit, is_set in bits.items() if is_set))

    def _enter(self, phase: Phase, act: Callable[[float], None], now: float) -> None:
        self.phase, self._act, self._since = phase, act, now

    def _wait(self, now: float) -> None:
        if now >= self.WAIT_S:
            self._plant.door.is_locked = True
            self._plant.seal.fed = True
            self._enter(Phase.SEALING, self._seal, now)

    def _seal(self, now: float) -> None:
        waited, seal = now - self._since, self._plant.seal
        if waited >= self.SEALING_S and seal.is_inflated:
            seal.closed_off = True
            self._was_driven = True
            self._enter(Phase.STEPPING, self._run_step, now)
            self._begin(1, now)
        elif waited > self.SEALING_LIMIT_S:
            self._give_up(now)

    def _begin(self, number: int, now: float) -> None:
        """Enter a step: command its speed and open its valves."""
        self.step = number
        step, plant = self._steps[number - 1], self._plant
        plant.drive.command(step.speed_rpm, step.ramp_rpm_per_s)
        plant.water.valve = step.water
        plant.nitrogen.valve = step.nitrogen
        plant.nitrogen.setpoint_c = step.heater_c
        self._timer_from = now if step.timer_basis is TimerBasis.FROM_COMMAND else None

    def _run_step(self, now: float) -> None:
        if self._timer_from is None:
            if self._plant.drive.is_at_speed:
                self._timer_from = now
            return
        if now < self._timer_from + self._duration() - 1e-9:
            return
        if self.step < len(self._steps):
            self._begin(self.step + 1, now)
        else:
            self._stop(now)

    def _duration(self) -> float:
        step: Step = self._steps[self.step - 1]
        is_last = self.step == len(self._steps)
        return max(step.duration_s - (self._cut_short if is_last else 0.0), 0.0)

    def _stop(self, now: float) -> None:
        """Take everything away; the rotor coasts, for there is no brake."""
        plant = self._plant
        plant.drive.release()
        plant.water.valve = plant.nitrogen.valve = False
        plant.nitrogen.setpoint_c = None
        self.step = STEP_STOPPING
        self._enter(Phase.COASTING, self._coast, now)

    def _coast(self, now: float) -> None:
        """Wait until the tach proves a slow rotor, or has been silent for too long."""
        self._let_go_early()
        if self._is_proven_slow():
            self._plant.positioner.commanded = True
            self._enter(Phase.INDEXING, self._index, now)
            return
        silent_from = max(self._plant.tach.last + self.SILENCE_S, self._since)
        if now >= silent_from + self._spec.index_timeout_s:
            self._give_up(now)

    def _is_proven_slow(self) -> bool:
        """Whether two pulses in step are far enough apart, or the rotor was never driven.

        Two intervals must agree: a lost pulse doubles one, and would halve the speed.
        """
        if not self._was_driven:
            return True
        tach = self._plant.tach
        return (
            tach.last > self._since
            and tach.interval >= self._enabling_interval
            and tach.interval_before >= 0.6 * tach.interval
        )

    def _index(self, now: float) -> None:
        self._let_go_early()
        if self._plant.positioner.is_home:
            self._plant.seal.fed = False
            self._enter(Phase.VENTING, self._vent, now)
        elif now >= self._since + self._spec.index_timeout_s:
            self._give_up(now)

    def _vent(self, now: float) -> None:
        if self._plant.seal.pressure_kpa_g >= self._spec.seal_release_kpa_g:
            return
        if self._vented_at is None:
            self._vented_at = now
        if now >= self._vented_at + self.RELEASE_S:
            self._plant.door.is_locked = False
            self._enter(Phase.RELEASED, self._open, now)

    def _open(self, now: float) -> None:
        if self.finished_at is None and now >= self._since + self.OPEN_S:
            self._plant.door.is_closed = False
            self.finished_at = now

    def _give_up(self, now: float) -> None:
        """Report a fault and leave the door locked and sealed."""
        self.finished_at = now
        self._enter(Phase.GIVEN_UP, self._rest, now)

    def _rest(self, now: float) -> None:
        """Do nothing more."""

    def _let_go_early(self) -> None:
        """Let a faulty lock open before the rotor stands."""
        if self._lock_lead and self._plant.door.is_locked:
            self._plant.door.is_locked = self._time_to_home() > self._lock_lead

    def _time_to_home(self) -> float:
        """Estimate the time until the rotor is indexed."""
        rotor, positioner = self._plant.rotor, self._plant.positioner
        if positioner.is_out:
            return positioner.time_left(rotor)
        enable = self._spec.index_enable_rpm * RAD_PER_S_PER_RPM
        coast = 0.0
        if rotor.speed > enable:
            coast = float(
                coast_down_time(
                    rotor.inertia,
                    rotor.coulomb,
                    rotor.viscous,
                    rotor.quadratic,
                    rotor.speed,
                    enable,
                )
            )
        return coast + positioner.STROKE_S + 1.0
