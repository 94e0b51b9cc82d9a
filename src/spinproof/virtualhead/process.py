"""What the head does to the wafers: rinse water, heated nitrogen, and water held up."""

import math

from spinproof.model.head import HeadSpec
from spinproof.physics.evaporation import LATENT_HEAT, evaporation_rate, saturation_humidity
from spinproof.physics.nitrogen import HEAT_CAPACITY, mass_flow_of
from spinproof.physics.rinse import OHM_M_PER_MOHM_CM

ROOM_C = 21.0
"""Temperature of the room, of the water and of the nitrogen before its heater. [degC]"""


class Water:
    """The rinse: supply, valve, and the bowl that dilutes towards the drain.

    Parameters
    ----------
    spec : HeadSpec
        The head, with its nominal flow, supply pressure and hold-up.
    close_s : float
        Time that the valve needs to close. [s]
    """

    OPEN_S = 0.3
    """Time that the valve needs to open. [s]"""
    FEED_MOHM_CM = 17.6
    """Resistivity of the feed water. [MΩ cm]"""
    FIRST_MOHM_CM = 2.0
    """Resistivity of what stands in bowl and drain before a rinse: 0.5 µS/cm. [MΩ cm]"""
    DROOP_BAR = 0.06
    """By how much the nominal flow lowers the supply pressure. [bar]"""
    SUPPLY_S = 0.3
    """Time constant with which the supply pressure follows. [s]"""

    def __init__(self, spec: HeadSpec, close_s: float) -> None:
        self._nominal_lpm = spec.di_flow_lpm
        self._nominal_bar_g = self.supply_bar_g = spec.di_pressure_bar_g
        self._volume_l = spec.bowl_hold_up_l
        self._close_s = close_s
        self._opening = 0.0
        self.feed = 1 / (OHM_M_PER_MOHM_CM * self.FEED_MOHM_CM)
        self.drain = 1 / (OHM_M_PER_MOHM_CM * self.FIRST_MOHM_CM)
        """Conductivity at the drain. [S/m]"""
        self.pressure_bar_g = spec.di_pressure_bar_g
        self.flow_lpm = 0.0
        self.valve = False

    def advance(self, h: float) -> None:
        """Move on by ``h`` seconds."""
        if self.valve:
            self._opening = min(self._opening + h / self.OPEN_S, 1.0)
        elif self._opening > 0.0:
            self._opening = max(self._opening - h / self._close_s, 0.0)
        share = self.flow_lpm / self._nominal_lpm
        towards = max(self.supply_bar_g - self.DROOP_BAR * share * share, 0.0)
        self.pressure_bar_g += (towards - self.pressure_bar_g) * min(h / self.SUPPLY_S, 1.0)
        if self._opening == 0.0:
            self.flow_lpm = 0.0
            return
        driven = self.pressure_bar_g / (self._nominal_bar_g - self.DROOP_BAR)
        self.flow_lpm = self._nominal_lpm * self._opening * math.sqrt(driven)
        washed = math.exp(-self.flow_lpm * h / (60.0 * self._volume_l))
        self.drain = self.feed + (self.drain - self.feed) * washed


class Nitrogen:
    """Purge gas: valve, flow, and the heater with its regulator.

    Parameters
    ----------
    spec : HeadSpec
        The head, with its nominal flow and heater power.
    power_share : float
        Share of its power that the heater really gives. [1]
    """

    VALVE_S = 0.25
    """Time constant of the flow. [s]"""
    HEATER_J_PER_K = 230.0
    """Heat capacity of element and housing. [J/K]"""
    LOSS_W_PER_K = 0.8
    """Conductance from the heater to the room. [W/K]"""
    GAIN_W_PER_K = 60.0
    """Gain of the regulator. [W/K]"""

    def __init__(self, spec: HeadSpec, power_share: float) -> None:
        self._nominal_slm = spec.n2_flow_slm
        self._power_w = spec.heater_w
        self._power_share = power_share
        self._carried_per_slm = float(mass_flow_of(1.0)) * HEAT_CAPACITY
        self.flow_slm = 0.0
        self.outlet_c = ROOM_C
        self.valve = False
        self.setpoint_c: float | None = None
        """Set-point of the heater, or None when it is off. [degC]"""

    def advance(self, h: float) -> None:
        """Move on by ``h`` seconds."""
        goal = self._nominal_slm if self.valve else 0.0
        self.flow_slm += (goal - self.flow_slm) * (h / self.VALVE_S)
        rise = self.outlet_c - ROOM_C
        taken = self.flow_slm * self._carried_per_slm + self.LOSS_W_PER_K
        power = 0.0
        if self.setpoint_c is not None:
            hold = (self.setpoint_c - ROOM_C) * taken
            power = hold + self.GAIN_W_PER_K * (self.setpoint_c - self.outlet_c)
            power = min(max(power, 0.0), self._power_w) * self._power_share
        self.outlet_c += (power - taken * rise) * h / self.HEATER_J_PER_K


class HoldUp:
    """Water that slots, joints and bowl keep after the rinse, and that nitrogen carries away."""

    FIRST_G = 5.0
    """Water held up at the end of a rinse. [g]"""
    EXCHANGE_M3_PER_S = 0.01
    """Exchange conductance at 1000 rpm. [m³/s]"""
    GAS_KG_PER_M3 = 1.13
    """Density of the gas. [kg/m³]"""
    HEAT_J_PER_K = 3000.0
    """Heat capacity of bowl and cassette. [J/K]"""
    WINDAGE_W = 50.0
    """Heat that the spinning rotor leaves in the bowl at 2000 rpm. [W]"""

    def __init__(self) -> None:
        self.mass_g = 0.0
        self.temperature_c = ROOM_C

    def wet(self) -> None:
        """Fill up with rinse water."""
        self.mass_g = self.FIRST_G
        self.temperature_c = ROOM_C

    def advance(self, h: float, gas_slm: float, gas_c: float, speed_rpm: float) -> None:
        """Move on by ``h`` seconds; a second at a time is fine."""
        if self.mass_g <= 0.0 or gas_slm < 1.0:
            return
        flow = float(mass_flow_of(gas_slm))
        exchange = self.EXCHANGE_M3_PER_S * math.sqrt(speed_rpm / 1000) * self.GAS_KG_PER_M3
        gap = float(saturation_humidity(273.15 + self.temperature_c))
        wet_share = min((self.mass_g / self.FIRST_G) ** (2 / 3), 1.0)
        rate = float(evaporation_rate(flow, exchange, gap, wet_share))
        gone = min(rate * h, 1e-3 * self.mass_g)
        warmed = flow * HEAT_CAPACITY * (gas_c - self.temperature_c)
        heat = warmed * -math.expm1(-exchange / flow) + self.WINDAGE_W * (speed_rpm / 2000) ** 3
        self.mass_g -= 1e3 * gone
        self.temperature_c += (heat * h - LATENT_HEAT * gone) / self.HEAT_J_PER_K
