"""Matters of a job: what is opened, dealt with step by step, and closed by somebody."""

from datetime import date
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.check import CheckId, Checkpoint, Energy
from spinproof.model.noun import Name, Noun
from spinproof.model.part import Disposition, PositionCode, Severity

Text = Annotated[str, Field(min_length=1, max_length=600)]


class MatterKind(StrEnum):
    """What a matter is."""

    FINDING = "finding"
    NONCONFORMANCE = "nonconformance"
    WAIVER = "waiver"
    CHANGE_ORDER = "change order"
    LOCKOUT = "lockout"
    BYPASS = "bypass"

    @property
    def prefix(self) -> str:
        """What stands for the kind in names, as in QA-1041-NCR-01."""
        return _PREFIXES[self]


_PREFIXES = {
    MatterKind.FINDING: "FND",
    MatterKind.NONCONFORMANCE: "NCR",
    MatterKind.WAIVER: "WVR",
    MatterKind.CHANGE_ORDER: "CO",
    MatterKind.LOCKOUT: "LCK",
    MatterKind.BYPASS: "BYP",
}


class Finding(Noun):
    """A condition that somebody saw."""

    text: Text
    severity: Severity
    position: PositionCode | None = None
    tag: Name | None = None
    """Tag of the part it was seen on."""
    recommendation: Text | None = None


class Nonconformance(Noun):
    """Something that does not conform, and must be dealt with before a gate is passed."""

    text: Text
    severity: Severity
    position: PositionCode | None = None
    checkpoint: Checkpoint | None = None
    """Where it was detected."""
    check: CheckId | None = None
    run: Name | None = None
    finding: Name | None = None
    """Name of the finding that it came from."""


class Waiver(Noun):
    """A departure that shop and customer accept; it prints."""

    subject: Name
    """What is waived: the id of a check, the name of a nonconformance, or a checkpoint."""
    why: Text
    risk: Text
    until: date | None = None
    """Last day on which it holds; absent when it holds for the job."""


class ChangeOrder(Noun):
    """A change of what was agreed."""

    text: Text
    price_delta: Name | None = None
    """With its currency, as agreed."""
    days_delta: int | None = None
    """Change of the promised date. [d]"""


class Lockout(Noun):
    """Energies that are shut off and locked while somebody reaches into a head."""

    where: Text
    """What is worked on: bowl, belt guard, cabinet."""
    locked: Annotated[tuple[Energy, ...], Field(min_length=1, strict=False)]
    """The energies that are locked, or were found absent."""
    left_on: Annotated[tuple[Energy, ...], Field(strict=False)] = ()
    """The energies that the work needs; nobody reaches where they could hurt."""
    verification: Text
    """The reading that showed it, for example "0 V between all phases, gauge at 0 bar"."""

    @model_validator(mode="after")
    def _names_every_energy(self) -> Self:
        missing = [e.value for e in Energy if e not in {*self.locked, *self.left_on}]
        both = [e.value for e in Energy if e in self.locked and e in self.left_on]
        if missing:
            msg = f"a lockout names every energy; missing: {', '.join(missing)}"
            raise ValueError(msg)
        if both:
            msg = f"an energy is locked or left on, not both: {', '.join(both)}"
            raise ValueError(msg)
        return self


class Bypass(Noun):
    """An interlock that is bridged."""

    interlock: Text
    why: Text


Content = Finding | Nonconformance | Waiver | ChangeOrder | Lockout | Bypass

CONTENTS: dict[MatterKind, type[Content]] = {
    MatterKind.FINDING: Finding,
    MatterKind.NONCONFORMANCE: Nonconformance,
    MatterKind.WAIVER: Waiver,
    MatterKind.CHANGE_ORDER: ChangeOrder,
    MatterKind.LOCKOUT: Lockout,
    MatterKind.BYPASS: Bypass,
}
"""What the record of each kind of matter holds."""


class StepDetail(Noun):
    """What a step of a matter adds to it."""

    disposition: Disposition | None = None
    """Of a nonconformance."""
    cause: Text | None = None
    """Of a nonconformance."""
    scope_item: Name | None = None
    """Line of the scope that a finding became."""
    token: Name | None = None
    """What shows the customer's consent: the number of a letter or a message, never a name."""


def kind_of(content: Content) -> MatterKind:
    """Give the kind of a matter by its content."""
    return next(kind for kind, noun in CONTENTS.items() if type(content) is noun)
