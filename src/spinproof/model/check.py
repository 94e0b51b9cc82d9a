"""Checks: the questions that a head answers at a checkpoint, as templates."""

from collections.abc import Collection
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.errors import RecordError
from spinproof.model.instrument import InstrumentKind
from spinproof.model.limit import Basis, DecisionRule, Limit
from spinproof.model.noun import Name, Noun, Positive
from spinproof.model.part import PositionCode
from spinproof.model.quantity import UNITS, Dimension, UnitSymbol

CheckId = Annotated[str, Field(pattern=r"^[DWS]-\d\d$")]
"""Identity of a check, for example W-04; the letter names its checkpoint."""
Text = Annotated[str, Field(min_length=1, max_length=900)]


class Checkpoint(StrEnum):
    """The checkpoints that a head passes one by one, in this order."""

    INCOMING = "incoming inspection"
    TEARDOWN = "teardown"
    RESTORATION = "restoration"
    BUILD = "build"
    DRY_TEST = "dry test"
    WET_TEST = "wet test"
    FINAL_TEST = "final test"
    """The burn-in; nothing is adjusted any more."""
    SOURCE_INSPECTION = "source inspection"
    RELEASE = "release"

    @property
    def number(self) -> int:
        """Place in the order, counted from 1."""
        return list(Checkpoint).index(self) + 1


LETTERS = {
    Checkpoint.DRY_TEST: "D",
    Checkpoint.WET_TEST: "W",
    Checkpoint.SOURCE_INSPECTION: "S",
}
"""First letter of the checks of a checkpoint."""


class Answer(StrEnum):
    """What answers a reading."""

    QUANTITY = "quantity"
    """A number with its unit."""
    YES_NO = "yes or no"
    """Yes conforms."""
    TEXT = "text"
    """Words, for the record; they never decide."""


class LimitFrom(StrEnum):
    """Where the limit of a reading stands."""

    TEMPLATE = "template"
    """Beside the reading."""
    HEAD_SPEC = "head spec"
    """In the numbers of the head."""
    AGREED = "agreed"
    """Agreed with the customer; without an agreement the reading is only recorded."""
    RECORD = "record"
    """Nowhere: the reading is taken for the record."""


class Energy(StrEnum):
    """What a check switches on or leaves on; a person must be kept from each."""

    ELECTRICAL = "electrical"
    ROTOR = "rotor motion"
    NITROGEN = "nitrogen"
    AIR = "compressed air"
    WATER = "DI water"
    HEAT = "heater heat"
    GRAVITY = "gravity"


class Rotation(StrEnum):
    """How the rotor turns in a check."""

    NONE = "none"
    BY_HAND = "by hand"
    SLOW = "slow"
    """Driven, up to 300 rpm: the most before the rotor is balanced in its spindle."""
    FULL = "full"
    """Driven, up to the top speed of the head."""


class EvidenceKind(StrEnum):
    """What a check leaves behind besides its readings."""

    PHOTO = "photo"
    FILM = "film"
    TRACE = "trace"
    DOCUMENT = "document"


class Reading(Noun):
    """One thing to find out in a check, with its limit."""

    name: Name
    """What is read, for example "rim runout, top"."""
    answer: Answer
    unit: UnitSymbol | None = None
    """Unit of the limit; a reading may be typed in any unit of the same dimension."""
    lower: float | None = None
    upper: float | None = None
    rule: DecisionRule = DecisionRule.GUARDED
    limit_from: LimitFrom = LimitFrom.TEMPLATE
    basis: Basis | None = None
    source: Name | None = None
    """The standard with its edition, or "common practice, no source"."""
    acceptance: Annotated[str, Field(max_length=300)] | None = None
    """What conforms, in words: what yes means, or which number of head or agreement holds."""
    only_if: Annotated[str, Field(max_length=200)] | None = None
    """When the reading is asked for at all; absent when it always is."""
    derived: bool = False
    """Whether the number is worked out from what the instrument reads, in another dimension or
    as a difference, so that the instrument's range says nothing about it."""
    instruments: Annotated[tuple[InstrumentKind, ...], Field(strict=False)] = ()
    """Kinds of which one must have measured; empty for what is seen or done."""

    @property
    def dimension(self) -> Dimension | None:
        """What the number measures, or None when no number answers."""
        return None if self.unit is None else UNITS[self.unit].dimension

    @property
    def limit(self) -> Limit | None:
        """The limit beside the reading, or None when it stands elsewhere or nowhere."""
        if self.unit is None or self.basis is None or self.source is None:
            return None
        if self.lower is None and self.upper is None:
            return None
        return Limit(
            metric=self.name,
            lower=self.lower,
            upper=self.upper,
            unit=self.unit,
            rule=self.rule,
            basis=self.basis,
            source=self.source,
        )

    @model_validator(mode="after")
    def _limit_fits_the_answer(self) -> Self:
        lower, upper = self.lower, self.upper
        bounded = lower is not None or upper is not None
        is_number = self.answer is Answer.QUANTITY
        beside = self.limit_from is LimitFrom.TEMPLATE
        problem = None
        if is_number != (self.unit is not None):
            problem = "a quantity needs a unit, and nothing else has one"
        elif is_number and not self.instruments:
            problem = "a quantity needs the kinds of instrument that may measure it"
        elif bounded != (is_number and beside):
            problem = "lower or upper belong to a quantity whose limit stands in the template"
        elif lower is not None and upper is not None and lower > upper:
            problem = f"lower ({lower:g}) lies above upper ({upper:g})"
        elif (self.basis is None) != (self.source is None):
            problem = "basis and source belong together"
        elif self.basis is None and self.limit_from is not LimitFrom.RECORD:
            problem = "what decides needs a basis and a source"
        elif self.acceptance is None and not bounded and self.limit_from is not LimitFrom.RECORD:
            problem = "without a number beside it, acceptance must say what conforms"
        elif self.answer is Answer.TEXT and self.limit_from is not LimitFrom.RECORD:
            problem = 'words never decide: limit_from must be "record"'
        if problem is not None:
            raise ValueError(problem)
        return self


class CheckTemplate(Noun):
    """One check: what to do, what to read, and what it needs first."""

    id: CheckId
    title: Name
    task: Text
    """What to do, in order."""
    caution: Annotated[str, Field(max_length=400)] | None = None
    """What may hurt, and how to stay clear."""
    energies: Annotated[tuple[Energy, ...], Field(strict=False)] = ()
    """What is on during the check."""
    rotation: Rotation = Rotation.NONE
    lockout: bool = False
    """Whether hands reach where energy could. An open lockout record is then needed that names
    every energy but those listed above, and rotor motion always."""
    top_speed_rpm: Positive | None = None
    """Highest speed of a slow spin. [rpm]"""
    depends_on: Annotated[tuple[PositionCode, ...], Field(strict=False)] = ()
    """Positions whose exchange makes an earlier answer worthless."""
    after: Annotated[tuple[CheckId, ...], Field(strict=False)] = ()
    """Checks that must be passed first."""
    evidence: Annotated[tuple[EvidenceKind, ...], Field(strict=False)] = ()
    """What must be kept; empty when the readings are enough."""
    readings: Annotated[tuple[Reading, ...], Field(min_length=1, strict=False)]

    @property
    def checkpoint(self) -> Checkpoint:
        """The checkpoint that the letter of the id names."""
        return next(point for point, letter in LETTERS.items() if self.id[0] == letter)

    @property
    def is_driven(self) -> bool:
        """Whether the motor turns the rotor."""
        return self.rotation in {Rotation.SLOW, Rotation.FULL}

    def reading(self, name: str) -> Reading:
        """Give one reading by its name.

        Raises
        ------
        RecordError
            If the check has no such reading.
        """
        for reading in self.readings:
            if reading.name == name:
                return reading
        raise RecordError(
            f'there is no reading "{name}"',
            where=f"check {self.id}",
            mend=f"Choose one of: {', '.join(reading.name for reading in self.readings)}.",
        )

    @model_validator(mode="after")
    def _safe_and_unique(self) -> Self:
        names = [reading.name for reading in self.readings]
        twice = sorted({name for name in names if names.count(name) > 1})
        problem = None
        if twice:
            problem = f"two readings share the name {', '.join(twice)}"
        elif self.is_driven != (Energy.ROTOR in self.energies):
            problem = "a driven rotor is an energy, and only a driven one"
        elif self.lockout and self.is_driven:
            problem = "no rotor is driven under lockout"
        elif (self.rotation is Rotation.SLOW) != (self.top_speed_rpm is not None):
            problem = "top_speed_rpm belongs to a slow spin"
        elif self.energies and self.caution is None:
            problem = "a check with an energy needs a caution"
        elif self.id in self.after:
            problem = "a check cannot come after itself"
        if problem is not None:
            raise ValueError(problem)
        return self


class CheckSheet(Noun):
    """The checks of one checkpoint, in the order in which they are usually made."""

    name: Name
    revision: Annotated[int, Field(ge=1)] = 1
    checkpoint: Checkpoint
    conditions: Text
    """Which services are on, and what may be adjusted."""
    checks: Annotated[tuple[CheckTemplate, ...], Field(min_length=1, strict=False)]

    def check(self, check_id: str) -> CheckTemplate:
        """Give one check by its id.

        Raises
        ------
        RecordError
            If the sheet has no such check.
        """
        for check in self.checks:
            if check.id == check_id:
                return check
        raise RecordError(
            f"there is no check {check_id}",
            where=f"check sheet {self.name}, revision {self.revision}",
            mend=f"Choose one of: {', '.join(check.id for check in self.checks)}.",
        )

    @model_validator(mode="after")
    def _holds_together(self) -> Self:
        ids = [check.id for check in self.checks]
        twice = sorted({check_id for check_id in ids if ids.count(check_id) > 1})
        if twice:
            msg = f"two checks share the id {', '.join(twice)}"
            raise ValueError(msg)
        for check in self.checks:
            if check.id[0] != LETTERS.get(self.checkpoint):
                msg = f"{check.id} is not a check of the {self.checkpoint}"
                raise ValueError(msg)
            unknown = [i for i in check.after if i[0] == check.id[0] and i not in ids]
            if unknown:
                msg = f"{check.id} comes after {', '.join(unknown)}, which the sheet does not hold"
                raise ValueError(msg)
        self._refuse_circles()
        return self

    def _refuse_circles(self) -> None:
        settled: set[str] = set()
        waiting = list(self.checks)
        while waiting:
            ready = [c for c in waiting if settled.issuperset(_own(c))]
            if not ready:
                msg = f"{', '.join(c.id for c in waiting)} wait for one another in a circle"
                raise ValueError(msg)
            settled.update(check.id for check in ready)
            waiting = [check for check in waiting if check not in ready]


def missing_before(check: CheckTemplate, passed: Collection[str]) -> tuple[str, ...]:
    """Give the checks that must still be passed before a check may be made.

    Parameters
    ----------
    check : CheckTemplate
        The check that is asked for.
    passed : collection of str
        Ids of the checks that are passed and still stand.

    Returns
    -------
    tuple of str
        Ids, in the order of the template; empty when the check may be made.
    """
    return tuple(check_id for check_id in check.after if check_id not in passed)


def admissible(sheet: CheckSheet, passed: Collection[str]) -> tuple[CheckTemplate, ...]:
    """Give the checks of a sheet that are still open and may be made now.

    Parameters
    ----------
    sheet : CheckSheet
        The checks of one checkpoint.
    passed : collection of str
        Ids of the checks that are passed and still stand.

    Returns
    -------
    tuple of CheckTemplate
        In the order of the sheet; empty when all are passed.
    """
    return tuple(
        check
        for check in sheet.checks
        if check.id not in passed and not missing_before(check, passed)
    )


def _own(check: CheckTemplate) -> set[str]:
    """Give the checks of the same sheet that come first."""
    return {check_id for check_id in check.after if check_id[0] == check.id[0]}
