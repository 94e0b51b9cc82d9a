"""What stands in the slots during one run."""

from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.noun import Name, NotNegative, Noun, Positive


def _empty(value: tuple[object, ...]) -> bool:
    """Say whether nothing was given, so that documents from before the key keep their hash."""
    return not value


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

    dummy_slots: Annotated[tuple[int, ...], Field(strict=False, exclude_if=_empty)] = ()
    """Slots with a dummy of a wafer's mass, which balances the rotor and is no product."""
    weighed_g: Annotated[tuple[Positive, ...], Field(strict=False, exclude_if=_empty)] = ()
    """Masses of the wafers in the order of ``slots``, where they were weighed one by one. [g]"""

    @property
    def wafer_count(self) -> int:
        """How many wafers are in the rotor, dummies not counted."""
        return len(self.slots)

    @property
    def filled_slots(self) -> tuple[int, ...]:
        """Slots with wafers, then slots with dummies."""
        return self.slots + self.dummy_slots

    @property
    def masses_g(self) -> tuple[float, ...]:
        """Mass in each of the filled slots in g, as weighed or else of one wafer."""
        wafers = self.weighed_g or (self.wafer_mass_g,) * len(self.slots)
        return wafers + (self.wafer_mass_g,) * len(self.dummy_slots)

    @model_validator(mode="after")
    def _slots_make_sense(self) -> Self:
        filled = self.filled_slots
        if len(set(filled)) != len(filled):
            msg = "a slot is named twice"
            raise ValueError(msg)
        if any(slot < 1 for slot in filled):
            msg = "slots are counted from 1"
            raise ValueError(msg)
        if self.weighed_g and len(self.weighed_g) != len(self.slots):
            msg = f"weighed_g gives {len(self.weighed_g)} masses for {len(self.slots)} slots"
            raise ValueError(msg)
        if filled and self.wafer_mass_g <= 0:
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
