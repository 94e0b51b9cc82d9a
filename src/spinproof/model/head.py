"""A head: the numbers that describe it, and the region of recipes it may run."""

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.noun import Name, NotNegative, Noun, Positive


class RotorAxis(StrEnum):
    """How the wafers sit on the rotor."""

    ON_AXIS = "on-axis"
    OFF_AXIS = "off-axis"


class Span(Noun):
    """A closed interval, in the unit that its key names."""

    low: NotNegative
    high: NotNegative

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.high < self.low:
            msg = f"high ({self.high:g}) must not be below low ({self.low:g})"
            raise ValueError(msg)
        return self


class Envelope(Noun):
    """The region of recipes a head may run; a plan stays inside it."""

    rinse_rpm: Span
    """Speeds of the rinse. [rpm]"""
    rinse_s: Span
    """Durations of the rinse. [s]"""
    purge_s: Span
    """Durations of the purge, at the rinse's speed. [s]"""
    fast_dry_rpm: Span
    """Speeds of the fast dry. [rpm]"""
    fast_dry_s: Span
    """Durations of the fast dry. [s]"""
    final_dry_rpm: Span
    """Speeds of the slower final dry. [rpm]"""
    final_dry_s: Span
    """Durations of the final dry. [s]"""
    ramp_rpm_per_s: Span
    """Rates of speed change. [rpm/s]"""
    heater_c: Annotated[float, Field(ge=0, le=150)]
    """Set-point of the heater when it is on. [degC]"""
    wafer_counts: Annotated[tuple[int, ...], Field(min_length=1, strict=False)]
    """Loads to run, as numbers of wafers."""
    process_time_limit_s: Positive
    """Longest recipe, ramps included. [s]"""
    duty_limit_rpm2: Positive
    """Highest mean of the squared speed over a recipe: what drive and bearings bear. [rpm2]"""
    step_down_rpm: NotNegative = 0.0
    """How far the final dry must lie below the fast dry. [rpm]"""
    step_up_rpm: NotNegative = 200.0
    """How far the fast dry must lie above the rinse. [rpm]"""


class Bearing(Noun):
    """Geometry of the rotor's bearing: it tells at which orders of the shaft a defect hits."""

    elements: Annotated[int, Field(ge=3, le=100)]
    """Rolling elements in a row."""
    element_diameter_mm: Positive
    pitch_diameter_mm: Positive
    """Diameter of the circle of their centres. [mm]"""
    contact_angle_deg: Annotated[float, Field(ge=0, le=60)] = 0.0

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.element_diameter_mm >= self.pitch_diameter_mm:
            msg = "the rolling elements do not fit into their circle"
            raise ValueError(msg)
        return self


def _absent(value: object) -> bool:
    """Say whether a value was left out, so that documents from before the key keep their hash."""
    return value is None


class HeadSpec(Noun):
    """The numbers that describe a head."""

    designation: Name
    """Serial of the head, as on its own plate, for example QM-207-L."""
    machine: Name
    """Serial of the machine the head belongs to."""
    axis: RotorAxis
    wafer_diameter_mm: Positive
    slots: Annotated[int, Field(ge=1, le=200)]
    """Slots for wafers in all cassettes, numbered through them."""
    cassettes: Annotated[int, Field(ge=1, le=8)] = 1
    """Cassettes, evenly around the axis of an off-axis head, sharing the slots evenly."""
    cassette_radius_mm: Annotated[Positive | None, Field(exclude_if=_absent)] = None
    """Distance of the cassettes' centres from the axis; else by the wafer's edge. [mm]"""
    slot_pitch_mm: Annotated[Positive | None, Field(exclude_if=_absent)] = None
    """Distance of neighbouring slots along the axis; without it the couple is not known. [mm]"""
    plane_distance_mm: Annotated[Positive | None, Field(exclude_if=_absent)] = None
    """Distance of the two correction planes of the rotor. [mm]"""
    wafer_edge_radius_m: Positive
    """Distance of the outermost wafer edge from the rotor axis. [m]"""
    rotor_mass_kg: Positive
    inertia_kg_m2: Positive
    """Inertia of rotor and cassette without wafers. [kg m2]"""
    coulomb_torque_n_m: NotNegative
    """Drag that does not depend on speed. [N m]"""
    viscous_drag_n_m_s: NotNegative = 0.0
    """Drag per angular speed. [N m s]"""
    quadratic_drag_n_m_s2: NotNegative = 0.0
    """Drag per squared angular speed. [N m s2]"""
    motor_torque_limit_n_m: Positive
    top_speed_rpm: Positive
    bowl_hold_up_l: Positive
    """Liquid that dilutes between spray and drain sensor. [L]"""
    di_flow_lpm: Positive
    """Nominal rinse flow. [L/min]"""
    di_pressure_bar_g: Positive
    """Nominal supply pressure of the water. [bar gauge]"""
    n2_flow_slm: Positive
    """Nominal nitrogen flow at 0 degC and 101.325 kPa. [slm]"""
    heater_w: Positive
    seal_pressure_kpa_g: Positive
    """Working pressure of the inflated door seal. [kPa gauge]"""
    seal_release_kpa_g: Positive
    """Seal pressure below which the door may be released. [kPa gauge]"""
    index_enable_rpm: Positive
    """Speed below which the positioner may move. [rpm]"""
    index_timeout_s: Positive
    """How long the controller waits for a proven index before it gives up. [s]"""
    tach_pulses_per_rev: Annotated[int, Field(ge=1, le=4096)]
    """Targets that the head's own tach sees in a revolution."""
    envelope: Envelope
    bearing: Annotated[Bearing | None, Field(exclude_if=_absent)] = None
    """The rotor's bearing, whose defects are looked for in the fast accelerations."""

    @property
    def slots_per_cassette(self) -> int:
        """Slots of one cassette."""
        return max(self.slots // self.cassettes, 1)

    @property
    def cassette_centre_mm(self) -> float:
        """Distance of the cassettes' centres from the axis in mm; zero on the axis."""
        if self.axis is RotorAxis.ON_AXIS:
            return 0.0
        from_edge = max(1000 * self.wafer_edge_radius_m - self.wafer_diameter_mm / 2, 0.0)
        return from_edge if self.cassette_radius_mm is None else self.cassette_radius_mm
