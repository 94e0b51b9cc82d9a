"""Positions of a head, and what the parts that sit there are and need."""

from collections.abc import Collection
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.errors import RecordError
from spinproof.model.limit import Basis
from spinproof.model.noun import Name, Noun

PositionCode = Annotated[str, Field(pattern="^[A-Z][A-Z0-9]{2}$")]
"""Three characters that name a position, also inside part tags, for example RTR."""
Sentence = Annotated[str, Field(min_length=1, max_length=400)]


class Belongs(StrEnum):
    """What a position is a place in."""

    HEAD = "head"
    """One head; every head of the machine has its own."""
    SHARED = "shared"
    """The module that the heads of a machine share."""


class Criticality(StrEnum):
    """What follows when a part fails."""

    A = "A"
    """It stops the head, or someone may be hurt."""
    B = "B"
    """The result gets worse."""
    C = "C"
    """It looks bad, or harms slowly."""


class Provenance(StrEnum):
    """Where the part in a position comes from."""

    KEPT = "kept"
    CLEANED = "cleaned"
    REPAIRED = "repaired"
    REPLACED_NEW = "replaced with new"
    REPLACED_REFURBISHED = "replaced with refurbished"
    DONOR_PULLED = "donor-pulled"
    CUSTOMER_SUPPLIED = "customer-supplied"
    MISSING = "missing"
    """The position is empty, with a reason."""

    @property
    def has_shop_warranty(self) -> bool:
        """Whether the shop may give a warranty on it: never on what the customer brought."""
        return self not in {Provenance.CUSTOMER_SUPPLIED, Provenance.MISSING}


class Severity(StrEnum):
    """How grave a finding is."""

    SAFETY = "safety"
    """Somebody may be hurt."""
    FUNCTION = "function"
    """The head may not do what it should."""
    COSMETIC = "cosmetic"

    @property
    def blocks_a_gate(self) -> bool:
        """Whether a gate stays closed while it is open and not waived."""
        return self is not Severity.COSMETIC


class Disposition(StrEnum):
    """What is done about something that does not conform; words of ISO 9000:2015, 3.12."""

    USE_AS_IS = "use as is"
    """A concession: it stays as it is, under a waiver that prints."""
    REWORK = "rework"
    """Made to conform."""
    REPAIR = "repair"
    """Made fit for use, though it still does not conform."""
    SCRAP = "scrap"
    """Never used again; its tag is never used again either."""
    RETURN = "return"
    """Sent back to where it came from."""
    REGRADE = "regrade"
    """Kept for a use with other requirements."""


class Paper(StrEnum):
    """What can stand behind the provenance of a part."""

    CERTIFICATE = "certificate"
    PACKING_RECORD = "supplier's packing record"
    REFURBISHMENT_RECORD = "refurbishment record of this instance"
    CUSTOMER_CONSENT = "customer's written consent"


_ORIGIN = frozenset({Paper.CERTIFICATE, Paper.PACKING_RECORD})
_REFURBISHED = frozenset({Paper.REFURBISHMENT_RECORD})
PAPERS_NEEDED: dict[Provenance, tuple[frozenset[Paper], ...]] = {
    Provenance.REPLACED_NEW: (_ORIGIN,),
    Provenance.REPLACED_REFURBISHED: (_REFURBISHED,),
    Provenance.DONOR_PULLED: (_ORIGIN, _REFURBISHED, frozenset({Paper.CUSTOMER_CONSENT})),
}
"""By provenance: of each set, one paper at least. Other provenances need none."""


def missing_papers(provenance: Provenance, held: Collection[Paper]) -> tuple[str, ...]:
    """Say which papers a part still needs before its provenance may be claimed.

    Parameters
    ----------
    provenance : Provenance
        What is claimed of the part.
    held : collection of Paper
        What is on file for it.

    Returns
    -------
    tuple of str
        Each missing paper in words, with its alternatives; empty when nothing is missing.

    Examples
    --------
    >>> missing_papers(Provenance.REPLACED_NEW, [])
    ("certificate or supplier's packing record",)
    """
    return tuple(
        " or ".join(paper for paper in Paper if paper in choice)
        for choice in PAPERS_NEEDED.get(provenance, ())
        if not choice.intersection(held)
    )


class Criterion(Noun):
    """What a part must meet at inspection, and where that comes from."""

    text: Sentence
    basis: Basis
    source: Name
    """The standard with its edition, or "common practice, no source"."""


class Position(Noun):
    """A place in a head or in the shared module, and what to look for in the part there."""

    code: PositionCode
    name: Name
    """The position in words, as it prints, for example "door seal"."""
    belongs: Belongs
    function: Sentence
    """What the part there does."""
    criticality: Criticality
    row: Annotated[int, Field(ge=1, le=12)]
    """Row in the drawing of the head or of the shared module, from the top."""
    column: Annotated[int, Field(ge=1, le=12)]
    """Column in that drawing, from the left."""
    optional: bool = False
    """Whether some heads are built without it."""
    always_replace: bool = False
    """Whether a new part is fitted whenever the head is opened."""
    failure_modes: Annotated[tuple[Sentence, ...], Field(min_length=1, strict=False)]
    inspection: Sentence
    """How to look, and what to measure."""
    criteria: Annotated[tuple[Criterion, ...], Field(min_length=1, strict=False)]
    reuse: Sentence
    """When the part may stay, and when it is replaced."""
    wears_with: Sentence
    """What uses up its life."""


class PositionSet(Noun):
    """The positions that heads of a kind have."""

    name: Name
    revision: Annotated[int, Field(ge=1)] = 1
    positions: Annotated[tuple[Position, ...], Field(min_length=1, strict=False)]

    @property
    def codes(self) -> frozenset[str]:
        """Codes of all positions."""
        return frozenset(position.code for position in self.positions)

    def of(self, belongs: Belongs) -> tuple[Position, ...]:
        """Give the positions of a head, or those of the shared module."""
        return tuple(position for position in self.positions if position.belongs is belongs)

    def find(self, code_or_name: str) -> Position:
        """Give a position by its code or by its name in words.

        Raises
        ------
        RecordError
            If there is no such position.
        """
        asked = code_or_name.strip().casefold()
        for position in self.positions:
            if asked in {position.code.casefold(), position.name.casefold()}:
                return position
        raise RecordError(
            f'there is no position "{code_or_name}"',
            where=f"positions {self.name}, revision {self.revision}",
            mend=f"Choose one of: {', '.join(sorted(self.codes))}.",
        )

    @model_validator(mode="after")
    def _unique(self) -> Self:
        for what, keys in (
            ("code", [p.code for p in self.positions]),
            ("name", [p.name.casefold() for p in self.positions]),
            ("place", [f"{p.belongs} {p.row}/{p.column}" for p in self.positions]),
        ):
            twice = sorted({key for key in keys if keys.count(key) > 1})
            if twice:
                msg = f"two positions share the {what} {', '.join(twice)}"
                raise ValueError(msg)
        return self
