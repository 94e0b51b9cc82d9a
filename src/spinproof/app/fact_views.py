"""What is stated about a head or its shared module, in sentences, and what can be named there."""

from dataclasses import dataclass
from functools import singledispatch

from spinproof.app.part_views import evidence_words
from spinproof.ledger.entries import UnitKind
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.rulebook.passage import ROTOR, SPINDLE
from spinproof.ledger.shop_entries import AttestationEntry, PartEntry, entered_later
from spinproof.model.attestation import (
    AgreedLimit,
    Balance,
    BenchNote,
    BindingStatement,
    ClockCheck,
    CustomerAccess,
    Decontamination,
    EvidenceDetail,
    Fact,
    HeldPaper,
    RoomAir,
    Unloading,
)
from spinproof.model.check import LimitFrom, Reading
from spinproof.model.shop_rules import ShopRules


@dataclass(frozen=True)
class FactLine:
    """A fact as it is shown."""

    number: int
    kind: str
    words: str
    unit: str | None
    """Absent when it was stated of the job or the shop."""
    who: str
    done_at: str
    at: str
    evidence: tuple[str, ...]

    @property
    def later(self) -> bool:
        """Whether it was written down long after it was so."""
        return entered_later(self.done_at, self.at)


@dataclass(frozen=True)
class FactSheet:
    """All facts about a unit, and what a new one may name."""

    unit: str
    job: str
    machine: str
    is_head: bool
    lines: tuple[FactLine, ...]
    """The newest first; what files of evidence show is left to their checks."""
    beside: tuple[str, ...]
    """Other units of the machine, whose facts stand on pages of their own."""
    rotors: tuple[str, ...]
    spindles: tuple[str, ...]
    tags: tuple[str, ...]
    readings: tuple[str, ...]
    """Readings answered by a number, each as `reading_words` gives it."""
    unloadable: tuple[str, ...]
    """Runs whose wafers nobody has counted yet."""
    evidence: tuple[str, ...]

    def stated(self, kind: str) -> int:
        """Tell how often a kind was stated."""
        return sum(line.kind == kind for line in self.lines)


def reading_words(check: str, reading: Reading) -> str:
    """Give a reading as a form offers it, with its unit.

    Examples
    --------
    >>> from spinproof.app.shop import shop_rules
    >>> check = next(c for sheet in shop_rules().sheets for c in sheet.checks if c.id == "D-02")
    >>> reading_words(check.id, check.readings[0]).endswith(f"[{check.readings[0].unit}]")
    True
    """
    return f"{check}, {reading.name} [{reading.unit}]"


def numeric_readings(rules: ShopRules | None) -> dict[str, tuple[str, Reading]]:
    """Give the readings that a number answers, each with its check, as a form offers them.

    Those whose limit is the head's own stand first: they cannot pass before it is stated.
    """
    if rules is None:
        return {}
    found = [
        (check.id, reading)
        for sheet in rules.sheets
        for check in sheet.checks
        for reading in check.readings
        if reading.unit is not None
    ]
    found.sort(key=lambda pair: pair[1].limit_from is not LimitFrom.HEAD_SPEC)
    return {reading_words(check, reading): (check, reading) for check, reading in found}


def fact_sheet(records: HeadReading, unit: str) -> FactSheet:
    """Gather the facts about a unit.

    Parameters
    ----------
    records : HeadReading
        The ledger, open for reading.
    unit : str
        Head, shared module or spare part.

    Returns
    -------
    FactSheet
        Its own facts, and those of the job and the shop.
    """
    own = records.unit(unit)
    evidence = {item.sha256: item.name for item in records.evidence(own.job)}
    facts = [
        fact
        for fact in records.attestations()
        if fact.job in {own.job, None} and fact.unit in {unit, None}
    ]
    parts = records.parts(own.job)
    is_head = own.kind is UnitKind.HEAD
    runs = records.runs(unit) if is_head else ()
    counted = {f.content.run for f in facts if isinstance(f.content, Unloading)}
    return FactSheet(
        unit=unit,
        job=own.job,
        machine=own.machine,
        is_head=is_head,
        lines=tuple(
            _line(fact, evidence)
            for fact in reversed(facts)
            if not isinstance(fact.content, EvidenceDetail | CustomerAccess)
        ),
        beside=tuple(
            other.designation
            for other in records.units(own.job)
            if other.machine == own.machine and other.designation != unit
        ),
        rotors=_made_for(parts, ROTOR),
        spindles=_made_for(parts, SPINDLE),
        tags=tuple(part.tag for part in parts),
        readings=tuple(numeric_readings(records.shop_rules(own.job))),
        unloadable=tuple(run.name for run in runs if run.wafer_count and run.name not in counted),
        evidence=tuple(evidence_words(name, sha256) for sha256, name in evidence.items()),
    )


def _made_for(parts: tuple[PartEntry, ...], code: str) -> tuple[str, ...]:
    return tuple(part.tag for part in parts if part.code == code)


def _line(fact: AttestationEntry, evidence: dict[str, str]) -> FactLine:
    return FactLine(
        number=fact.id,
        kind=fact.content.kind,
        words=fact_words(fact.content),
        unit=fact.unit,
        who=fact.who,
        done_at=fact.done_at,
        at=fact.at,
        evidence=tuple(evidence.get(sha256, sha256[:12]) for sha256 in fact.evidence),
    )


@singledispatch
def fact_words(fact: Fact) -> str:
    """Say a fact in a sentence.

    Examples
    --------
    >>> fact_words(ClockCheck(device="tablet 2", offset_s=-1.5))
    'tablet 2 is off by -1.5 s, with a standard uncertainty of 1 s.'
    """
    return f"A record of another kind: {type(fact).__name__}."


@fact_words.register
def _clock_words(fact: ClockCheck) -> str:
    return (
        f"{fact.device} is off by {fact.offset_s:g} s, with a standard uncertainty of "
        f"{fact.uncertainty_s:g} s."
    )


@fact_words.register
def _unloading_words(fact: Unloading) -> str:
    return f"{fact.run}: {fact.whole} came out whole, {fact.broken} broken."


@fact_words.register
def _binding_words(fact: BindingStatement) -> str:
    held = "The channel map is proven" if fact.proof.holds else "The channel map is refused"
    return f"{held} ({fact.proof.stimulus}, map {fact.proof.map_sha256[:12]}): {fact.proof.words}"


@fact_words.register
def _note_words(fact: BenchNote) -> str:
    moment = "" if fact.time_s is None else f" at {fact.time_s:.1f} s"
    of_plan = "" if fact.planned is None else f" for planned run {fact.planned}"
    about = f"{fact.about}{of_plan}{moment}{f' of run {fact.run}' if fact.run else ''}"
    return f"{about[:1].upper()}{about[1:]}: {fact.text}" if fact.text else f"{about.capitalize()}."


@fact_words.register
def _paper_words(fact: HeldPaper) -> str:
    return f"The {fact.paper} of {fact.tag} is held."


@fact_words.register
def _limit_words(fact: AgreedLimit) -> str:
    limit = fact.limit
    bounds = [
        f"{word} {bound:g} {limit.unit}"
        for word, bound in (("at least", limit.lower), ("at most", limit.upper))
        if bound is not None
    ]
    return (
        f"{fact.check}, {fact.reading}: {' and '.join(bounds)}, {limit.rule} rule, by "
        f"{limit.source}; approved by {fact.approved_by}."
    )


@fact_words.register
def _decontamination_words(fact: Decontamination) -> str:
    cleared = "cleared" if fact.cleared else "not cleared"
    if fact.hazards:
        remaining = f"Remaining hazards: {'; '.join(fact.hazards)}."
    else:
        remaining = f"{fact.none_known_by} says that no hazard is known."
    return f"{fact.direction.capitalize()}, {cleared}, by {fact.method}. {remaining}"


@fact_words.register
def _balance_words(fact: Balance) -> str:
    planes = "; ".join(
        f"plane {number}: {plane.residual_g_mm:g} of {plane.limit_g_mm:g} g mm"
        for number, plane in enumerate(fact.planes, 1)
    )
    where = f"in spindle {fact.spindle}" if fact.spindle else "by itself"
    return (
        f"Rotor {fact.rotor} balanced {where}, {fact.grade} up to {fact.service_rpm:g} rpm. "
        f"{planes}; standard uncertainty {fact.standard_uncertainty_g_mm:g} g mm."
    )


@fact_words.register
def _air_words(fact: RoomAir) -> str:
    said = []
    if fact.oxygen_percent is not None:
        said.append(f"An oxygen monitor reads {fact.oxygen_percent:g} %.")
    if fact.fresh_air_m3_h is not None and fact.nitrogen_m3_h is not None:
        said.append(
            f"{fact.fresh_air_m3_h:g} m³/h of fresh air against at most {fact.nitrogen_m3_h:g} "
            "m³/h of nitrogen."
        )
    return " ".join(said)
