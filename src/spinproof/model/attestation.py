"""Attestations: facts that somebody states about a job, a head or a run, once and for good."""

from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from spinproof.model.binding import BindingProof
from spinproof.model.check import CheckId, EvidenceKind
from spinproof.model.limit import DecisionRule, Limit
from spinproof.model.noun import Name, NotNegative, Noun, Positive
from spinproof.model.part import Paper

Text = Annotated[str, Field(min_length=1, max_length=600)]
Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]


class Fact(Noun):
    """The base of all facts: what each names, so that it can be looked up."""

    @property
    def tags_named(self) -> tuple[str, ...]:
        """Tags of parts."""
        return ()

    @property
    def runs_named(self) -> tuple[str, ...]:
        """Runs."""
        return ()

    @property
    def files_named(self) -> tuple[str, ...]:
        """SHA-256 of evidence."""
        return ()


class Direction(StrEnum):
    """Which way a machine travels."""

    INCOMING = "incoming"
    OUTGOING = "outgoing"


class Decontamination(Fact):
    """What may still cling to a head, and whether it may be worked on or sent."""

    kind: Literal["decontamination"] = "decontamination"
    direction: Direction
    cleared: bool
    hazards: Annotated[tuple[Text, ...], Field(strict=False)] = ()
    """Remaining hazards, each in a sentence."""
    none_known_by: Name | None = None
    """Who says that no hazard is known."""
    method: Text
    """How it was decided: declaration, wipe test, rinse and strip."""

    @model_validator(mode="after")
    def _is_not_empty(self) -> Self:
        if bool(self.hazards) == (self.none_known_by is not None):
            msg = "give the remaining hazards, or the name of who says that none is known"
            raise ValueError(msg)
        return self


class Plane(Noun):
    """What is left in one balancing plane."""

    residual_g_mm: NotNegative
    """Residual unbalance. [g mm]"""
    limit_g_mm: Positive
    """Permissible residual unbalance of the plane. [g mm]"""


class Balance(Fact):
    """The balance of one rotor in one spindle."""

    kind: Literal["balance"] = "balance"
    rotor: Name
    """Tag of the rotor instance."""
    spindle: Name | None = None
    """Tag of the spindle instance it was balanced in; absent for a rotor balanced by itself."""
    service_rpm: Positive
    """Highest speed that the limits are for. [rpm]"""
    grade: Name
    """Balance quality grade, as agreed, for example "G 6.3"."""
    planes: Annotated[tuple[Plane, ...], Field(min_length=1, max_length=2, strict=False)]
    standard_uncertainty_g_mm: NotNegative
    """Of each residual. [g mm]"""
    rule: DecisionRule = DecisionRule.GUARDED_BY_U
    """How the uncertainty enters the verdict; it prints on the certificate."""

    @property
    def tags_named(self) -> tuple[str, ...]:
        """Rotor and spindle."""
        return (self.rotor, *([self.spindle] if self.spindle else []))


class ClockCheck(Fact):
    """A device's clock, compared with the time of the ledger."""

    kind: Literal["clock check"] = "clock check"
    device: Name
    offset_s: float
    """Device minus true time. [s]"""
    uncertainty_s: NotNegative = 1.0
    """Standard uncertainty of the comparison. [s]"""


class RoomAir(Fact):
    """The air of the room in which nitrogen is let out."""

    kind: Literal["room air"] = "room air"
    fresh_air_m3_h: NotNegative | None = None
    """Fresh air. [m3/h]"""
    nitrogen_m3_h: NotNegative | None = None
    """Most nitrogen that all heads let out into the room. [m3/h]"""
    oxygen_percent: Annotated[float, Field(ge=0, le=25)] | None = None
    """Reading of an oxygen monitor. [%]"""

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.oxygen_percent is None and None in {self.fresh_air_m3_h, self.nitrogen_m3_h}:
            msg = "give an oxygen reading, or fresh air and nitrogen together"
            raise ValueError(msg)
        return self


class Unloading(Fact):
    """The wafers that came out of a run."""

    kind: Literal["unloading"] = "unloading"
    run: Name
    whole: Annotated[int, Field(ge=0)]
    broken: Annotated[int, Field(ge=0)] = 0

    @property
    def runs_named(self) -> tuple[str, ...]:
        """The run."""
        return (self.run,)


class HeldPaper(Fact):
    """A paper that stands behind the provenance of a part."""

    kind: Literal["paper"] = "paper"
    tag: Name
    paper: Paper

    @property
    def tags_named(self) -> tuple[str, ...]:
        """The part."""
        return (self.tag,)


class AgreedLimit(Fact):
    """A limit for a reading of a check, in force for later readings only."""

    kind: Literal["agreed limit"] = "agreed limit"
    check: CheckId
    reading: Name
    limit: Limit
    approved_by: Name
    """Who approved it: a person of the shop, or the customer's token."""


class EvidenceDetail(Fact):
    """What a file of evidence shows, and how it came to be."""

    kind: Literal["evidence detail"] = "evidence detail"
    sha256: Sha256
    """The evidence."""
    shows: EvidenceKind
    captured_at: str | None = None
    """When it was taken by the device's own clock, RFC 3339."""
    device: Name | None = None
    parent: Sha256 | None = None
    """The evidence that it was cut or cleaned from."""
    removed: Annotated[tuple[Text, ...], Field(strict=False)] | None = None
    """What was taken out before it may be shown; absent when nobody looked."""

    @property
    def files_named(self) -> tuple[str, ...]:
        """The file and what it was cut from."""
        return (self.sha256, *([self.parent] if self.parent else []))


class Film(Fact):
    """A film of a witnessed run."""

    kind: Literal["film"] = "film"
    sha256: Sha256
    """The evidence that holds the film."""
    run: Name
    started_at: str
    """UTC, RFC 3339."""
    ended_at: str
    """UTC, RFC 3339."""
    trace_sha256: Sha256
    """The trace that the film was made beside."""

    @property
    def runs_named(self) -> tuple[str, ...]:
        """The run."""
        return (self.run,)

    @property
    def files_named(self) -> tuple[str, ...]:
        """The film."""
        return (self.sha256,)


class DossierIssued(Fact):
    """A dossier that was handed over."""

    kind: Literal["dossier issued"] = "dossier issued"
    package: Name
    """Name of the package."""
    list_sha256: Sha256
    """SHA-256 of its signed list."""


class Acknowledgement(Fact):
    """The customer's word that the exclusions were read."""

    kind: Literal["acknowledgement"] = "acknowledgement"
    token: Name
    exclusions: Annotated[tuple[Name, ...], Field(strict=False)]
    """Items of the scope that were shown as excluded."""


class Shipment(Fact):
    """What was packed, and how."""

    kind: Literal["shipment"] = "shipment"
    crate: Name
    tags: Annotated[tuple[Name, ...], Field(min_length=1, strict=False)]
    """Tags of every part in the crate, built in or loose."""
    drained: Text
    """How it was drained and dried."""
    restrained: Text
    """How the rotor is held off its bearings."""

    @property
    def tags_named(self) -> tuple[str, ...]:
        """Every part in the crate."""
        return self.tags


class CustomerDeed(StrEnum):
    """What somebody did with the customer's identity."""

    LOOKED = "looked at"
    ENTERED = "entered"
    CHANGED = "changed"


class CustomerPurpose(StrEnum):
    """What it was for; a choice and no free text, so that it cannot name the customer."""

    WRITE = "to call or write to the customer"
    SHIP = "to ship or to invoice"
    COMPARE = "to compare a document with it"
    CORRECT = "to enter or correct it"


class CustomerAccess(Fact):
    """A look at who a job's customer is, or a change of it; it tells nothing of who that is."""

    kind: Literal["customer access"] = "customer access"
    deed: CustomerDeed
    purpose: CustomerPurpose


class NoteKind(StrEnum):
    """What somebody notes at the bench."""

    MARK = "moment marked"
    """Something was seen or heard at this moment of a run."""
    HAND_OVER = "hand-over"
    """What the next shift should know."""
    PAUSE = "paused"
    """No further run is begun until somebody resumes."""
    RESUME = "resumed"
    ENTERED = "recipe entered"
    """The recipe of the next run was entered at the controller and compared."""


class BenchNote(Fact):
    """What somebody noted while a burn-in goes on; it changes no count."""

    kind: Literal["bench note"] = "bench note"
    about: NoteKind
    campaign: int | None = None
    """Number of the campaign of the head."""
    planned: int | None = None
    """Number of the planned run."""
    run: Name | None = None
    time_s: NotNegative | None = None
    """The moment on the clock of the run. [s]"""
    text: Annotated[str, Field(max_length=600)] = ""

    @property
    def runs_named(self) -> tuple[str, ...]:
        """The run, if one is named."""
        return () if self.run is None else (self.run,)


class BindingStatement(Fact):
    """What came of moving one head to see which channels move."""

    kind: Literal["binding"] = "binding"
    proof: BindingProof


Attestation = Annotated[
    Decontamination
    | Balance
    | ClockCheck
    | RoomAir
    | Unloading
    | HeldPaper
    | AgreedLimit
    | EvidenceDetail
    | Film
    | DossierIssued
    | Acknowledgement
    | Shipment
    | CustomerAccess
    | BenchNote
    | BindingStatement,
    Field(discriminator="kind"),
]
"""Any fact that can be stated."""
