"""One head of the virtual stand: it runs a program and yields what its logger samples."""

from collections.abc import Iterator
from random import Random

from spinproof.model.errors import DocumentError
from spinproof.model.head import HeadSpec
from spinproof.model.program import Program
from spinproof.model.recipe import Recipe, StepKind
from spinproof.model.registers import SAMPLES_PER_BLOCK, STEP_STOPPING
from spinproof.physics.load_balance import unbalance_of
from spinproof.physics.rotor import RAD_PER_S_PER_RPM
from spinproof.virtualhead.as_built import as_built, drive_scale
from spinproof.virtualhead.controller import Controller, Plant
from spinproof.virtualhead.door import Door, Seal
from spinproof.virtualhead.faults import (
    CREEP_S,
    NOMINAL_GAP_MM,
    Disturbances,
    Wear,
    disturbances,
    impossible,
)
from spinproof.virtualhead.process import HoldUp, Nitrogen, Water
from spinproof.virtualhead.rotor_drive import Drive, Positioner, Rotor, loaded_inertia
from spinproof.virtualhead.sensors import (
    ROTOR_UNBALANCE_G_MM,
    Independent,
    Sensors,
    Vibration,
)
from spinproof.virtualhead.tach import Clock, PulseCounter, lowest_readable_speed

STEP_S = 0.01
"""One step of the simulation, and one scan of the controller. [s]"""
STEPS_PER_SAMPLE = 5
AFTERWARDS_S = 2.0
"""How long the logger goes on after the door has opened. [s]"""
PAUSE_S = 30
"""What the device's clock goes on between two runs. [s]"""
TORQUE_RIPPLE_N_M = 0.02
"""Standard deviation of the motor torque from sample to sample. [N m]"""
RUB_MM_S_PER_N_M = 6.0
"""Broad-band vibration of a rubbing seal per torque of the rub. [mm/s/(N m)]"""
FAST_RPM = 600.0
"""Speed from which a loose load creeps. [rpm]"""
TACH_JITTER_S = 8e-6
OPTICAL_JITTER_S = 3e-6


class Run:
    """One execution of a program, sample by sample.

    Parameters
    ----------
    head : VirtualHead
        The head that runs it, with its wear, its clock and its counters.
    program : Program
        Recipe, load, faults and seed.
    """

    def __init__(self, head: "VirtualHead", program: Program) -> None:
        spec, wrong = head.spec, disturbances(program.faults)
        self._wrong = wrong
        self._rng = Random(f"{program.seed}:{program.run_number}")  # noqa: S311 - noise, no secret
        self._clock = Clock(head.clock_us)
        self._ticks = 0
        self.plant = _plant(head, program, wrong, self._rng)
        recipe = _executed(program.recipe, wrong.dry_speed_factor)
        self.controller = Controller(self.plant, spec, recipe, wrong)
        self.stand_tach = _stand_tach(head, self.plant.tach, wrong)
        unbalance = ROTOR_UNBALANCE_G_MM + 1e6 * abs(unbalance_of(program.load, spec)[0])
        floor = Vibration.FLOOR_MM_S + RUB_MM_S_PER_N_M * wrong.rub_n_m
        self.independent = Independent(
            PulseCounter(
                1.0, OPTICAL_JITTER_S, count=head.optical_count, edge_us=head.optical_edge_us
            ),
            Vibration(
                spec, unbalance + wrong.unbalance_g_mm, mounts=wrong.mount_factor, floor_mm_s=floor
            ),
        )
        self._counters = tuple(
            dict.fromkeys((self.plant.tach, self.stand_tach, self.independent.optical))
        )
        self.hold_up = HoldUp()
        seen = head.neighbour_sees() if wrong.swapped else self.independent
        self._sensors = Sensors(self.plant, self.controller, self.stand_tach, seen, self._rng)
        self._sensors.vibration_factor = wrong.vibration_factor
        self._creeping_from: float | None = None
        self._mid_s = _middle(program.recipe)
        self._is_past_middle = False
        self._lost_ticks = int(wrong.lost_blocks) * SAMPLES_PER_BLOCK * STEPS_PER_SAMPLE
        self._dip = _dip_window(program.recipe) if wrong.dip_bar_g is not None else None
        self._supply_bar_g = self.plant.water.supply_bar_g

    @property
    def now(self) -> float:
        """Time since the first sample, in seconds."""
        return self._ticks * STEP_S

    @property
    def device_time_us(self) -> int:
        """What the device's clock shows now."""
        return self._clock.at(self.now)

    @property
    def is_over(self) -> bool:
        """Whether the logger has nothing more to add."""
        end = self.controller.finished_at
        return end is not None and self.now >= end + AFTERWARDS_S

    @property
    def is_losing_blocks(self) -> bool:
        """Whether the logger overwrites what it samples now before anybody can read it."""
        first = round(self._mid_s / STEP_S)
        return 0 <= self._ticks - first < self._lost_ticks

    def sample(self) -> list[int]:
        """Take one sample, then move on to the moment of the next."""
        record = self._sensors.sample(self.now, STEPS_PER_SAMPLE * STEP_S)
        self._disturb()
        ripple = self._rng.gauss(0.0, TORQUE_RIPPLE_N_M)
        for _ in range(STEPS_PER_SAMPLE):
            self._advance(ripple)
        self._advance_slow_ones()
        return record

    def _advance(self, ripple: float) -> None:
        """Move on by one step of the simulation."""
        plant, h = self.plant, STEP_S
        self.controller.scan(self._ticks * STEP_S)
        rotor, drive = plant.rotor, plant.drive
        before = rotor.speed
        drive.advance(h, before)
        if plant.positioner.commanded:
            plant.positioner.advance(h, rotor)
        if not plant.positioner.is_out:
            rotor.advance(h, self._torque(ripple))
        self._ticks += 1
        now, speed = self._ticks * STEP_S, rotor.speed
        if speed or before:
            for counter in self._counters:
                counter.watch(rotor.angle, before, speed, now, h, self._clock, self._rng)
        plant.water.advance(h)
        plant.nitrogen.advance(h)
        plant.seal.advance(h)

    def _torque(self, ripple: float) -> float:
        """Give the torque that reaches the rotor."""
        drive, slip = self.plant.drive, self._wrong.slip_n_m
        if not drive.enabled:
            return -self._wrong.brake_n_m
        torque = drive.torque if slip is None else min(max(drive.torque, -slip), slip)
        return torque + ripple

    def _advance_slow_ones(self) -> None:
        plant, h = self.plant, STEPS_PER_SAMPLE * STEP_S
        self.independent.vibration.advance(h, plant.rotor.speed)
        if plant.water.flow_lpm:
            self.hold_up.wet()
        elif self._ticks % 100 == 0:
            rpm = plant.rotor.speed / RAD_PER_S_PER_RPM
            gas = plant.nitrogen
            self.hold_up.advance(100 * STEP_S, gas.flow_slm, gas.outlet_c, rpm)

    def _disturb(self) -> None:
        """Let happen what is wrong at this moment."""
        now, wrong = self.now, self._wrong
        if self._dip is not None and wrong.dip_bar_g is not None:
            dips = self._dip[0] <= now < self._dip[1]
            self.plant.water.supply_bar_g = wrong.dip_bar_g if dips else self._supply_bar_g
        if now >= self._mid_s and not self._is_past_middle:
            self._is_past_middle = True
            self._sensors.is_stuck = bool(wrong.stuck_sensor)
            self._sensors.is_frozen = bool(wrong.frozen)
            self._sensors.spike_k = wrong.spike_k
            self.independent.vibration.add_unbalance(wrong.loose_g_mm)
            self._clock.jump(wrong.clock_step_s)
        if wrong.shift_g_mm:
            self._creep(wrong.shift_g_mm)
        if wrong.silent_below_rpm and self.controller.step == STEP_STOPPING:
            self.plant.tach.lowest_speed = max(
                self.plant.tach.lowest_speed, wrong.silent_below_rpm * RAD_PER_S_PER_RPM
            )

    def _creep(self, g_mm: float) -> None:
        """Let the load creep from the first time that it turns fast."""
        fast = self.plant.rotor.speed > FAST_RPM * RAD_PER_S_PER_RPM
        if self._creeping_from is None and fast:
            self._creeping_from = self.now
        if self._creeping_from is not None and self.now < self._creeping_from + CREEP_S:
            self.independent.vibration.add_unbalance(g_mm * STEPS_PER_SAMPLE * STEP_S / CREEP_S)


class VirtualHead:
    """A head with its wear, its counters and its clock, which go on from run to run.

    Parameters
    ----------
    spec : HeadSpec
        The numbers that describe the head.
    uptime_s : int
        What the device's clock shows at the first run. [s]

    Raises
    ------
    DocumentError
        If the head has no drag at all: its rotor would never stop.
    """

    def __init__(self, spec: HeadSpec, uptime_s: int = 3600) -> None:
        if spec.coulomb_torque_n_m <= 0:
            raise DocumentError(
                "the virtual head needs drag, or its rotor would never stop",
                where=f"head {spec.designation}, coulomb_torque_n_m",
                mend="Give a coulomb_torque_n_m above zero.",
            )
        self.spec = spec
        self.wear = Wear()
        self.clock_us = uptime_s * 1_000_000
        self.tach_count = self.tach_edge_us = 0
        self.optical_count = self.optical_edge_us = 0
        self.neighbour: VirtualHead | None = None
        self.run: Run | None = None
        self._program: Program | None = None

    def refusal(self, program: Program) -> str | None:
        """Say why the head cannot run a program, or None when it can."""
        if program.recipe.top_speed_rpm > self.spec.top_speed_rpm:
            return f"the recipe is faster than {self.spec.top_speed_rpm:g} rpm"
        if max(program.load.filled_slots, default=0) > self.spec.slots:
            return f"the load has more than {self.spec.slots} slots"
        return impossible(program.faults)

    def start(self, program: Program) -> Run:
        """Begin a run."""
        self._program = program
        self.run = Run(self, program)
        return self.run

    def finish(self) -> None:
        """End the run: keep counters, clock and wear for the next."""
        run, program = self.run, self._program
        if run is None or program is None:
            return
        self.tach_count, self.tach_edge_us = run.stand_tach.count, run.stand_tach.edge_us
        optical = run.independent.optical
        self.optical_count, self.optical_edge_us = optical.count, optical.edge_us
        self.clock_us = run.device_time_us + PAUSE_S * 1_000_000
        self.wear = self.wear.after(program.faults)
        self.run = self._program = None

    def service(self) -> None:
        """Put wear back to new."""
        self.wear = Wear()

    def neighbour_sees(self) -> Independent:
        """Give the other head's optical tach and vibration: at rest unless it runs just now."""
        other = self.neighbour or VirtualHead(self.spec)
        if other.run is not None:
            return other.run.independent
        at_rest = PulseCounter(
            1.0, OPTICAL_JITTER_S, count=other.optical_count, edge_us=other.optical_edge_us
        )
        return Independent(at_rest, Vibration(other.spec, 0.0))


def simulate(head: VirtualHead, program: Program) -> Iterator[list[int]]:
    """Run a program without a network and yield its sample records."""
    run = head.start(program)
    while not run.is_over:
        yield run.sample()
    head.finish()


def _plant(head: VirtualHead, program: Program, wrong: Disturbances, rng: Random) -> Plant:
    spec = as_built(head.spec, rng)
    gap = NOMINAL_GAP_MM + head.wear.gap_mm if wrong.tach_gap_mm is None else wrong.tach_gap_mm
    drag = spec.coulomb_torque_n_m * wrong.drag_factor * head.wear.drag_factor
    n2 = spec.model_copy(update={"n2_flow_slm": spec.n2_flow_slm * wrong.n2_factor})
    di = spec.model_copy(update={"di_flow_lpm": spec.di_flow_lpm * wrong.di_factor})
    return Plant(
        rotor=Rotor(
            loaded_inertia(spec, program.load) + wrong.added_kg_m2,
            drag + wrong.rub_n_m,
            spec.viscous_drag_n_m_s,
            spec.quadratic_drag_n_m_s2 * wrong.windage_factor,
        ),
        drive=Drive(
            spec,
            drive_scale(spec) * wrong.speed_scale,
            wrong.overshoot_percent,
            gain=wrong.gain_factor,
            limit=wrong.torque_limit_n_m,
        ),
        positioner=Positioner(spec.index_enable_rpm, sensor=not wrong.home_dead),
        water=Water(di, wrong.rinse_close_s),
        nitrogen=Nitrogen(n2, 1.0 - wrong.heater_dead),
        seal=Seal(spec, wrong.seal_loss_percent, wrong.vent_s),
        door=Door(),
        tach=PulseCounter(
            spec.tach_pulses_per_rev,
            TACH_JITTER_S,
            lowest_speed=lowest_readable_speed(gap),
            dropout=wrong.dropout,
            doubled=wrong.doubled,
            count=head.tach_count,
            edge_us=head.tach_edge_us,
        ),
    )


def _stand_tach(head: VirtualHead, tach: PulseCounter, wrong: Disturbances) -> PulseCounter:
    """Give the counter of the head's tach on the stand: the same, unless it counts wrongly."""
    if wrong.pulse_factor == 1.0:
        return tach
    return tach.with_pulses(head.spec.tach_pulses_per_rev * wrong.pulse_factor)


def _executed(recipe: Recipe, factor: float) -> Recipe:
    """Give the recipe that the controller really executes."""
    if factor == 1.0:
        return recipe
    steps = tuple(
        step.model_copy(update={"speed_rpm": step.speed_rpm * factor})
        if step.kind is StepKind.DRY
        else step
        for step in recipe.steps
    )
    return recipe.model_copy(update={"steps": steps})


def _middle(recipe: Recipe) -> float:
    """Give the middle of the recipe, counted from the first sample, in seconds."""
    begin = Controller.WAIT_S + Controller.SEALING_S
    return begin + recipe.process_time_s() / 2


def _dip_window(recipe: Recipe) -> tuple[float, float] | None:
    """Give the middle third of the first step with water, counted from the first sample."""
    begin = Controller.WAIT_S + Controller.SEALING_S
    for step in recipe.steps:
        if step.water:
            return begin + step.duration_s / 3, begin + 2 * step.duration_s / 3
        begin += step.duration_s
    return None
