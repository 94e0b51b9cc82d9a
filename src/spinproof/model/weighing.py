"""Weighings of what a head still held when a run was stopped: written by people."""

from typing import Annotated

from pydantic import Field

from spinproof.model.noun import Name, NotNegative, Noun, Positive


class StoppedRun(Noun):
    """One run that was stopped in its dry stage, and what was weighed then."""

    name: Name
    """Number of the run, or any name that tells it from the others."""
    after_s: NotNegative
    """Time from the end of spin-off to the stop; 0 for a weighing right after spin-off. [s]"""
    left_g: NotNegative
    """Mass of cassette, wafers and caught water, less their mass when dry. [g]"""
    speed_rpm: Positive
    """Speed in between. [rpm]"""
    n2_flow_slm: Positive
    """Flow of nitrogen in between, at 0 degC and 101.325 kPa. [slm]"""
    gas_c: Annotated[float, Field(ge=0, le=95)]
    """Temperature of the nitrogen at the bowl in between. [degC]"""


class WeighingSheet(Noun):
    """All weighings of one head with one cassette and one number of wafers."""

    head: Name
    """Designation of the head."""
    cassette: Name
    """Kind of cassette, with the number of wafers."""
    room_c: Annotated[float, Field(ge=1, le=50)]
    """Temperature of water and bowl at first. [degC]"""
    simulated: bool = False
    """Whether the weighings come from a simulation."""
    stopped_runs: Annotated[tuple[StoppedRun, ...], Field(min_length=1, strict=False)]
    """The runs."""
