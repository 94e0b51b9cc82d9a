"""Coast-downs, rinses, warm-ups and dryings of a virtual head whose truth is known."""

import numpy as np
from tests.demo_files import LOWER

from spinproof.model.head_model import CalibrationRun
from spinproof.physics.drying import DryingHistory
from spinproof.physics.evaporation import LATENT_HEAT, evaporation_rate, saturation_humidity
from spinproof.physics.nitrogen import HEAT_CAPACITY, mass_flow_of
from spinproof.predict.coast_down import Coast
from spinproof.predict.drying_fit import Exhaust, Surroundings, Weighing
from spinproof.predict.rinse_step import DrainStep
from spinproof.predict.warm_up import WarmUp
from spinproof.virtualhead.process import ROOM_C, HoldUp, Nitrogen, Water
from spinproof.virtualhead.rotor_drive import Rotor

RPM = np.pi / 30
DAILY = 0.003
"""Relative standard deviation of what differs from run to run."""
DRAG = (0.35, 2e-3, 2.5e-5)
INERTIA, VOLUME_L, HEATER_J_K, LOSS_W_K = 0.22, 1.5, 230.0, 0.8
HOLD_UP_G, CONDUCTANCE = 5.0, 0.01
GIVEN = Surroundings(HoldUp.HEAT_J_PER_K, HoldUp.WINDAGE_W, 273.15 + ROOM_C)
DRY_RPM, DRY_SLM, DRY_C = 1000.0, 300.0, 60.0
"""Spinning and gas of the dryings: enough gas that the exhaust leaves its saturated plateau."""
DRYING = (DRY_RPM * RPM, float(mass_flow_of(DRY_SLM)), 273.15 + DRY_C)


def run(number: int) -> CalibrationRun:
    return CalibrationRun(run=f"T-{number}", sha256="0" * 64, simulated=True)


def near(value: float, rng: np.random.Generator, share: float = DAILY) -> float:
    return value * (1 + share * rng.normal())


def coast(rng: np.random.Generator, number: int = 1, added: float = 0.0, h: float = 0.02) -> Coast:
    """Let a rotor coast from 700 rpm, and see each sixth of a turn at 20 samples a second."""
    rotor = Rotor(INERTIA + added, *(near(term, rng) for term in DRAG))
    rotor.speed = 700 * RPM
    time, angle = [0.0], [0.0]
    while rotor.speed > 60 * RPM:
        rotor.advance(h, 0.0)
        time.append(time[-1] + h)
        angle.append(rotor.angle)
    sampled = np.interp(np.arange(0, time[-1], 0.05), time, angle)
    pulses = np.unique(np.floor(sampled * 6 / (2 * np.pi)))[1:]
    at = pulses * 2 * np.pi / 6
    moments = np.interp(at, angle, time) + rng.normal(0, 8e-6, at.size)
    return Coast(run(number), moments, at, added)


def drain_step(rng: np.random.Generator, number: int = 1, h: float = 0.05) -> DrainStep:
    """Let the water come on after five seconds, and read the drain four times a second."""
    spec = LOWER.model_copy(
        update={
            "bowl_hold_up_l": near(VOLUME_L, rng),
            "di_flow_lpm": near(LOWER.di_flow_lpm, rng),
        }
    )
    water = Water(spec, 0.5)
    time, drain, flow = [], [], []
    for i in range(1, 901):
        water.valve = i >= 100
        water.advance(h)
        flow.append(water.flow_lpm * (1 + 0.004 * rng.normal()))
        if i % 5 == 0:
            time.append(i * h)
            drain.append(water.drain * (1 + 0.002 * rng.normal()))
    return DrainStep(
        run(number), np.array(time), np.array(drain), h * np.arange(1, 901), np.array(flow)
    )


def warm_up(rng: np.random.Generator, number: int = 1, h: float = 0.025) -> WarmUp:
    """Switch the heater on in flowing gas, and read it four times a second up to 68 degC."""
    gas = Nitrogen(LOWER.model_copy(update={"n2_flow_slm": near(LOWER.n2_flow_slm, rng)}), 1.0)
    gas.HEATER_J_PER_K = near(HEATER_J_K, rng)
    gas.valve = True
    for _ in range(200):
        gas.advance(h)
    cold = np.mean(gas.outlet_c + rng.normal(0, 0.08, 8))
    gas.setpoint_c = 80.0
    time, seen = [], []
    for i in range(2400):
        if i % 10 == 0 and i > 40:
            time.append(i * h)
            seen.append(round(gas.outlet_c + 0.08 * rng.normal(), 1))
        if gas.outlet_c > 68.0:
            break
        gas.advance(h)
    flow = float(mass_flow_of(gas.flow_slm))
    return WarmUp(run(number), np.array(time), np.array(seen), float(cold), flow)


def dryings(first_g: np.ndarray, seconds: int, h: float = 0.05) -> tuple[np.ndarray, np.ndarray]:
    """Dry many hold-ups at once by the virtual head's own balance, in small steps.

    Gives moments each second, and the mass left at each of them in g, a column for a hold-up.
    """
    speed, flow, gas = DRYING
    exchange = CONDUCTANCE * np.sqrt(speed / RPM / 1000) * HoldUp.GAS_KG_PER_M3
    mass, kelvin = 1e-3 * first_g, np.full(first_g.size, 273.15 + ROOM_C)
    kept = [1e3 * mass]
    for i in range(1, round(seconds / h) + 1):
        share = np.clip(1e3 * mass / first_g, 0.0, 1.0) ** (2 / 3)
        gone = np.minimum(
            h * evaporation_rate(flow, exchange, saturation_humidity(kelvin), share), mass
        )
        warmed = flow * HEAT_CAPACITY * (gas - kelvin) * -np.expm1(-exchange / flow)
        windage = HoldUp.WINDAGE_W * (speed / RPM / 2000) ** 3
        kelvin += (h * (warmed + windage) - LATENT_HEAT * gone) / HoldUp.HEAT_J_PER_K
        mass = mass - gone
        if i % round(1 / h) == 0:
            kept.append(1e3 * mass)
    return np.arange(seconds + 1.0), np.array(kept)


def exhaust(time: np.ndarray, left_g: np.ndarray, rng: np.random.Generator, number: int) -> Exhaust:
    """Watch one drying by its exhaust, with a relative error of each reading of the vapour."""
    carried = 1e-3 * -np.diff(left_g) * (1 + 0.02 * rng.normal(size=time.size - 1))
    vapour = np.concatenate([[0.0], np.cumsum(carried)])
    return Exhaust(run(number), DryingHistory(time, *DRYING), vapour)


def weighings(
    time: np.ndarray, left_g: np.ndarray, stops: tuple[int, ...], rng: np.random.Generator
) -> list[Weighing]:
    """Stop one drying a column at one time each, and weigh to 0.05 g."""
    return [
        Weighing(run(i), float(left_g[stop, i] + 0.05 * rng.normal()), float(time[stop]), *DRYING)
        for i, stop in enumerate(stops)
    ]
