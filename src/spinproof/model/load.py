"""What stands in the slots during one run."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.noun import Name, NotNegative, Noun


class Load(Noun):
    """The slots that hold wafers in one run, and what a wafer weighs."""

    name: Name
    """For example "13 of 25, odd slots"."""
    slots: Annotated[tuple[int, ...], Field(strict=False)] = ()
    """Numbers of the loaded slots, counted from 1; empty for a run without wafers."""
    wafer_mass_g: NotNegative = 0.0
    """Mass of one wafer. [g]"""
    seat_eccentricity_mm: NotNegative = 0.0
    """Common offset of the wafers from the rotor axis, all to the same side. [mm]"""

    @property
    def wafer_count(self) -> int:
        """How many wafers are in the rotor."""
        return len(self.slots)

    @property
    def static_unbalance_g_mm(self) -> float:
        """Static unbalance of the load in g mm: number x mass x common offset."""
        return self.wafer_count * self.wafer_mass_g * self.seat_eccentricity_mm

    @model_validator(mode="after")
    def _slots_make_sense(self) -> Self:
        if len(set(self.slots)) != len(self.slots):
            msg = "a slot is named twice"
            raise ValueError(msg)
        if any(slot < 1 for slot in self.slots):
            msg = "slots are counted from 1"
            raise ValueError(msg)
        if self.slots and self.wafer_mass_g <= 0:
            msg = "wafer_mass_g must be given when slots are loaded"
            raise ValueError(msg)
        return self


def spread_slots(count: int, slots: int) -> tuple[int, ...]:
    """Give ``count`` slots of ``slots``, symmetric about the middle and evenly spread.

    Symmetric loads put no couple on the rotor of an on-axis head.

    Raises
    ------
    ValueError
        If more wafers are asked for than there are slots, or fewer than none.
    """
    if not 0 <= count <= slots:
        msg = f"{count} wafers do not fit {slots} slots"
        raise ValueError(msg)
    if count == 0:
        return ()
    if count == 1:
        return ((slots + 1) // 2,)
    lower = [1 + int((slots - 1) * i / (count - 1) + 0.5) for i in range(count // 2)]
    middle = [(slots + 1) // 2] if count % 2 else []
    return tuple(lower + middle + [slots + 1 - slot for slot in reversed(lower)])
