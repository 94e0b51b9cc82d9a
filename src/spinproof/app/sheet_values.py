"""What rows of sheets become, and what they are compared with."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, tzinfo

from spinproof.model.instrument import InstrumentRecord
from spinproof.model.matter import Finding
from spinproof.model.part import Belongs, Provenance
from spinproof.model.quantity import Quantity
from spinproof.model.shop_rules import ShopRules


@dataclass(frozen=True)
class UnitFacts:
    """What is known about a head or shared module of the job."""

    belongs: Belongs
    in_scope: bool
    refused: Mapping[str, str]
    """Positions where no other part may be fitted, and why: "declined", "not in scope"."""


@dataclass(frozen=True)
class Occupant:
    """The part in a position."""

    tag: str
    since: datetime


@dataclass(frozen=True)
class Known:
    """What the rows are compared with: a copy of what the ledger knows at one moment."""

    now: datetime
    opened: datetime
    """When the job was taken in."""
    zone: tzinfo
    """Zone of the shop, for times that state none."""
    rules: ShopRules
    units: Mapping[str, UnitFacts]
    """Heads and shared module of the job, by designation."""
    parts: Mapping[str, str]
    """Every tag that exists, with where the part is, in words."""
    occupants: Mapping[tuple[str, str], Occupant]
    """By unit and position code."""
    instruments: Mapping[str, InstrumentRecord]
    answered: Collection[tuple[str, str, str]]
    """Readings that are answered: unit, check and name of the reading."""
    findings: Collection[tuple[str, str]]
    """Findings on record: unit and text."""


@dataclass(frozen=True)
class PartValue:
    """A part to be taken in at its position."""

    tag: str
    unit: str
    position: str
    words: str
    provenance: Provenance
    serial: str | None
    lot: str | None
    material: str | None
    why: str
    done_at: datetime


@dataclass(frozen=True)
class FindingValue:
    """A finding to be opened."""

    unit: str
    content: Finding
    done_at: datetime


@dataclass(frozen=True)
class MeasurementValue:
    """The answer to a reading of a check; one of value, yes and words is given."""

    unit: str
    check: str
    reading: str
    value: Quantity | None
    yes: bool | None
    words: str | None
    instrument: str | None
    conditions: str
    done_at: datetime
    uncertainty: Quantity | None = None
    """Standard uncertainty of a value that was worked out."""


@dataclass(frozen=True)
class InstrumentValue:
    """An instrument that the shop takes into its list."""

    record: InstrumentRecord


Value = PartValue | FindingValue | MeasurementValue | InstrumentValue


@dataclass(frozen=True)
class Problem:
    """What is wrong with a row, where, and how to mend it."""

    what: str
    where: str
    mend: str
