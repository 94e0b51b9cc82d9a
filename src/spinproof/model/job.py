"""A job as it is taken in: order, machine, heads, shared module and the agreed scope."""

from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.handover import ScopeState
from spinproof.model.noun import Name, Noun
from spinproof.model.part import PositionCode


class Process(StrEnum):
    """How much of the work is in the record."""

    FULL = "full"
    """Every checkpoint from the incoming inspection on, with its checks and signatures."""
    BURN_IN_ONLY = "burn-in only"
    """Burn-in and witnessed run; dry and wet test are not part of the record."""

    @property
    def note(self) -> str | None:
        """What a document must say about the record, if anything."""
        if self is Process.FULL:
            return None
        return "Dry and wet test are not part of this record."


class JobSpare(Noun):
    """A part that is worked on by itself, without a head."""

    designation: Name
    """Tag of the part."""
    words: Name
    """The part in words, for example "rotor, 11.8 kg"."""


class JobHead(Noun):
    """A head of the machine, in scope or left as it is."""

    designation: Name
    """Serial of the head."""
    position: Name
    """Where it sits, for example "lower"."""
    in_scope: bool
    words: Name
    """The head in words, for example "200 mm, on-axis, one cassette"."""


class JobScope(Noun):
    """One line of the agreed scope."""

    item: Name
    """Identity of the line, for example SC-07."""
    unit: Name
    """Designation of the head or shared module."""
    text: Annotated[str, Field(min_length=1, max_length=200)]
    state: ScopeState
    consequence: Annotated[str, Field(max_length=300)] | None = None
    """What follows from declining the line; it prints beside the exclusion."""
    position: PositionCode | None = None
    """Code of the position that the line is about, when it is about one."""


class JobFile(Noun):
    """Everything agreed about a job before work starts. It never names the customer."""

    job: Name
    """The shop's own number, for example QA-1041."""
    order: Name
    """The purchase order as it may be printed: the only name of the customer."""
    shop: Name
    machine: Name
    """Serial of the machine; for spare parts alone, what they are called together."""
    shared_module: Name | None = None
    """What the heads share: supply, exhaust, drain, frame."""
    process: Process = Process.BURN_IN_ONLY
    """Full, or burn-in only: then dry and wet test are not part of the record."""
    required_runs: Annotated[int, Field(ge=1)] | None = None
    """Counted runs in a row that the order asks for."""
    heads: Annotated[tuple[JobHead, ...], Field(max_length=8, strict=False)] = ()
    spares: Annotated[tuple[JobSpare, ...], Field(max_length=200, strict=False)] = ()
    """Parts that are worked on by themselves."""
    scope: Annotated[tuple[JobScope, ...], Field(min_length=1, strict=False)]

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        units = {head.designation: head.in_scope for head in self.heads}
        units |= {spare.designation: True for spare in self.spares}
        if len(units) != len(self.heads) + len(self.spares):
            msg = "two heads or spare parts share a designation"
            raise ValueError(msg)
        if not units:
            msg = "a job has heads or spare parts"
            raise ValueError(msg)
        known = set(units) | ({self.shared_module} if self.shared_module else set())
        items = [line.item for line in self.scope]
        if len(set(items)) != len(items):
            msg = "two scope lines share an item"
            raise ValueError(msg)
        for line in self.scope:
            if line.unit not in known:
                msg = (
                    f"{line.item} names {line.unit}, which is neither a head nor a spare part "
                    "nor the shared module"
                )
                raise ValueError(msg)
            if self.process is Process.BURN_IN_ONLY and line.state.printed is not line.state:
                msg = (
                    f"{line.item} is {line.state}: a job of burn-in only begins with an agreed "
                    "scope, so each line is accepted, declined or supplied by customer"
                )
                raise ValueError(msg)
            if line.state is ScopeState.ACCEPTED and not units.get(line.unit, True):
                msg = f"{line.item} is accepted on {line.unit}, which is out of scope"
                raise ValueError(msg)
        for designation, in_scope in units.items():
            if not in_scope and not any(
                line.unit == designation and line.state is ScopeState.DECLINED
                for line in self.scope
            ):
                msg = f"{designation} is out of scope and has no declined line to say so"
                raise ValueError(msg)
        return self
