"""What the pages of positions, parts and tags may show."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date

from spinproof.figures.head_drawing import PositionCell
from spinproof.ledger.entries import UnitEntry, UnitKind
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.shop_entries import (
    MatterEntry,
    PartEntry,
    PartStepEntry,
    ScopeEntry,
    VacancyEntry,
    entered_later,
)
from spinproof.ledger.states import FINDING, PART, FindingState, PartState, allowed
from spinproof.model.errors import RecordError
from spinproof.model.handover import ScopeState
from spinproof.model.matter import Finding, Lockout, MatterKind
from spinproof.model.part import Position, Severity
from spinproof.model.tag import parse_tag, tag_of

EMPTY, NOT_RECORDED, OUT_OF_SCOPE = "left empty", "not recorded", "not in scope"


@dataclass(frozen=True)
class FindingView:
    """A finding as its position and its part show it."""

    name: str
    unit: str | None
    position: str | None
    tag: str | None
    text: str
    severity: Severity
    recommendation: str | None
    state: str
    opened_at: str
    who: str
    said: str | None
    """What was said at its last step, when that was not its first."""
    next_states: tuple[str, ...]

    @property
    def is_open(self) -> bool:
        """Whether somebody still has to deal with it."""
        return self.state != FindingState.SETTLED.value


@dataclass(frozen=True)
class Happening:
    """Something that happened at a position or to a part."""

    done_at: str
    at: str
    who: str
    word: str
    what: str
    why: str
    tag: str | None = None
    unit: str | None = None
    position: str | None = None

    @property
    def later(self) -> bool:
        """Whether it was written down long after it was done."""
        return entered_later(self.done_at, self.at)


@dataclass(frozen=True)
class LockView:
    """A lockout that is on."""

    name: str
    unit: str | None
    where: str
    locked: tuple[str, ...]
    left_on: tuple[str, ...]
    verification: str
    who: str
    since: str


@dataclass(frozen=True)
class PositionLine:
    """A position of a unit: what the shop's rules say of it, and what sits there."""

    unit: str
    place: Position
    part: PartEntry | None
    vacancy: VacancyEntry | None
    lines: tuple[ScopeEntry, ...]
    """Lines of the scope about it."""
    findings: tuple[FindingView, ...]
    refused: str | None
    """Why no other part may be fitted there: "declined", "not in scope"; None when it may."""

    @property
    def state(self) -> str:
        """What sits there, in words."""
        if self.part is not None:
            return self.part.now.provenance.value
        return EMPTY if self.vacancy is not None else NOT_RECORDED

    @property
    def open_findings(self) -> tuple[FindingView, ...]:
        """Findings that somebody still has to deal with, the gravest first."""
        still = (f for f in self.findings if f.is_open)
        return tuple(sorted(still, key=lambda f: list(Severity).index(f.severity)))

    def cell(self, href: str | None) -> PositionCell:
        """Give it as it is drawn."""
        return PositionCell(
            code=self.place.code,
            name=self.place.name,
            row=self.place.row,
            column=self.place.column,
            state=self.state,
            tag=self.part.tag if self.part else None,
            findings=tuple(f.severity for f in self.open_findings),
            refused=self.refused,
            href=href,
        )


@dataclass(frozen=True)
class UnitPositions:
    """A head, or what the heads share, as its positions."""

    job: str
    unit: UnitEntry
    lines: tuple[PositionLine, ...]
    loose: tuple[PartEntry, ...]
    """Parts of the job that sit nowhere now and may be fitted."""
    locks: tuple[LockView, ...]
    """Lockouts that are on, of the unit and of what the heads share."""
    evidence: tuple[str, ...]
    """Evidence of the job, each as `evidence_words` gives it."""

    @property
    def is_head(self) -> bool:
        """Whether it is a head."""
        return self.unit.kind is UnitKind.HEAD

    def line(self, code: str) -> PositionLine:
        """Give one position.

        Raises
        ------
        RecordError
            If the unit has none of this code.
        """
        for line in self.lines:
            if line.place.code == code.upper():
                return line
        raise RecordError(
            f"{self.unit.designation} has no position {code}",
            where=f"position {code}",
            mend=f"Choose one of: {', '.join(line.place.code for line in self.lines)}.",
        )


@dataclass(frozen=True)
class PositionView:
    """One position with all that happened there."""

    page: UnitPositions
    line: PositionLine
    history: tuple[Happening, ...]
    """The newest first."""
    fitting: tuple[PartEntry, ...]
    """Parts that may be fitted here."""
    free_tag: str
    """A tag that a part which came with the head could get."""


@dataclass(frozen=True)
class PartView:
    """One part with all that happened to it."""

    part: PartEntry
    position_name: str
    """Name of the position that it is made for."""
    history: tuple[Happening, ...]
    """The newest first."""
    findings: tuple[FindingView, ...]
    next_states: tuple[PartState, ...]
    """What may become of it outside a head."""
    evidence: tuple[str, ...]

    @property
    def is_final(self) -> bool:
        """Whether nothing can become of it any more."""
        return not PART[self.part.now.state]


def positions_of(ledger: Ledger, unit: str, today: date) -> UnitPositions:
    """Give a head, or what the heads share, as its positions.

    Parameters
    ----------
    ledger : Ledger
        The records.
    unit : str
        Designation.
    today : date
        Day on which somebody looks.

    Returns
    -------
    UnitPositions
        All positions by the rules of the job.

    Raises
    ------
    GateClosedError
        If the job is burn-in only and keeps no parts.
    RecordError
        If there is no such unit.
    """
    with ledger.reading() as records:
        return _unit_positions(records, records.head_file(unit, today))


def position_of(ledger: Ledger, unit: str, code: str, today: date) -> PositionView:
    """Give one position with all that happened there; errors as in `positions_of`."""
    with ledger.reading() as records:
        file = records.head_file(unit, today)
        page = _unit_positions(records, file)
        line = page.line(code)
        free = free_tag(unit, line.place.code, records.tags())
    fitting = tuple(part for part in page.loose if part.code == line.place.code)
    return PositionView(page, line, _history_at(file, line), fitting, free)


def part_of(ledger: Ledger, tag: str) -> PartView:
    """Give one part with all that happened to it.

    Raises
    ------
    TagError
        If the tag is mistyped.
    RecordError
        If there is no such part.
    """
    with ledger.reading() as records:
        part = records.part(parse_tag(tag, records.tags()))
        rules = records.shop_rules(part.job)
        findings = tuple(
            view
            for matter in records.matters(part.job, MatterKind.FINDING)
            if (view := finding_view(matter)).tag == part.tag
        )
        evidence = evidence_of(records, part.job)
    following = () if part.now.state is PartState.IN_POSITION else allowed(PART, part.now.state)
    name = rules.positions.find(part.code).name if rules else part.code
    return PartView(
        part=part,
        position_name=name,
        history=tuple(_of_part(part, step, i) for i, step in enumerate(part.steps))[::-1],
        findings=findings,
        next_states=tuple(
            s for s in PartState if s in following and s is not PartState.IN_POSITION
        ),
        evidence=evidence,
    )


def free_tag(unit: str, code: str, taken: Collection[str]) -> str:
    """Give the first tag of a position that no part has."""
    tags = (tag_of(f"{unit}-{code}{number:02d}") for number in range(1, 1000))
    return next(tag for tag in tags if tag not in taken)


def seat_words(part: PartEntry) -> str:
    """Say where a part is."""
    now = part.now
    if now.state is PartState.IN_POSITION:
        return f"{now.unit}, {now.position}"
    return now.state.value


def evidence_words(name: str, sha256: str) -> str:
    """Give evidence as a form offers it."""
    return f"{sha256[:16]} {name}"


def scope_refusal(unit: UnitEntry, lines: tuple[ScopeEntry, ...]) -> str | None:
    """Say why no other part may be fitted at a position, from its lines of the scope.

    Parameters
    ----------
    unit : UnitEntry
        Whose position it is.
    lines : tuple of ScopeEntry
        The lines about it.

    Returns
    -------
    str or None
        "not in scope", "declined", or None.
    """
    if not unit.in_scope:
        return OUT_OF_SCOPE
    states = {line.state for line in lines}
    if ScopeState.DECLINED in states and not states & {ScopeState.ACCEPTED, ScopeState.DONE}:
        return ScopeState.DECLINED.value
    return None


def _unit_positions(records: HeadReading, file: HeadFile) -> UnitPositions:
    file.require_rules()
    job = file.unit.job
    return UnitPositions(
        job=job,
        unit=file.unit,
        lines=tuple(_line(file, place) for place in file.positions),
        loose=tuple(
            part for part in records.parts(job) if PartState.IN_POSITION in PART[part.now.state]
        ),
        locks=tuple(
            LockView(
                matter.name,
                matter.unit,
                matter.content.where,
                tuple(matter.content.locked),
                tuple(matter.content.left_on),
                matter.content.verification,
                matter.opened.who,
                matter.opened.done_at,
            )
            for matter in file.open_lockouts
            if isinstance(matter.content, Lockout)
        ),
        evidence=evidence_of(records, job),
    )


def evidence_of(records: HeadReading, job: str) -> tuple[str, ...]:
    """Give the evidence of a job as forms offer it."""
    return tuple(evidence_words(item.name, item.sha256) for item in records.evidence(job))


def _line(file: HeadFile, place: Position) -> PositionLine:
    unit = file.unit
    lines = tuple(
        line for line in file.scope if line.unit == unit.designation and line.position == place.code
    )
    return PositionLine(
        unit=unit.designation,
        place=place,
        part=file.occupant(place.code),
        vacancy=file.vacancy(place.code),
        lines=lines,
        findings=tuple(
            view
            for matter in file.of_kind(MatterKind.FINDING)
            if (view := finding_view(matter)).position == place.code
            and view.unit == unit.designation
        ),
        refused=scope_refusal(unit, lines),
    )


def finding_view(matter: MatterEntry) -> FindingView:
    """Give a finding as its position and its part show it.

    Raises
    ------
    TypeError
        If it is another matter.
    """
    content = matter.content
    if not isinstance(content, Finding):
        raise TypeError(f"{matter.name} is no finding")
    last = matter.steps[-1]
    return FindingView(
        name=matter.name,
        unit=matter.unit,
        position=content.position,
        tag=content.tag,
        text=content.text,
        severity=content.severity,
        recommendation=content.recommendation,
        state=matter.state.value,
        opened_at=matter.opened.done_at,
        who=matter.opened.who,
        said=last.why if len(matter.steps) > 1 else None,
        next_states=tuple(state.value for state in allowed(FINDING, matter.state)),
    )


def _history_at(file: HeadFile, line: PositionLine) -> tuple[Happening, ...]:
    fitted = [
        _of_part(part, step, part.steps.index(step))
        for part, step in file.steps_at(line.place.code)
    ]
    left = [
        Happening(v.done_at, v.at, v.who, EMPTY, "left empty", v.reason)
        for v in file.vacancies
        if (v.unit, v.position) == (line.unit, line.place.code)
    ]
    found = [
        Happening(f.opened_at, f.opened_at, f.who, f.severity.value, f"finding {f.name}", f.text)
        for f in line.findings
    ]
    chosen = [
        Happening(
            step.at,
            step.at,
            step.who,
            step.state.value,
            f"scope {entry.item}",
            step.why or entry.text,
        )
        for entry in line.lines
        for step in entry.steps
    ]
    key: Callable[[Happening], str] = lambda each: each.done_at  # noqa: E731 - it names its type
    return tuple(sorted([*fitted, *left, *found, *chosen], key=key, reverse=True))


def _of_part(part: PartEntry, step: PartStepEntry, index: int) -> Happening:
    earlier = part.steps[index - 1] if index else None
    said = f"{step.state}"
    if step.unit and step.state is PartState.IN_POSITION:
        said = (
            f"fitted in {step.unit}, {step.position}"
            if earlier
            else f"found in {step.unit}, {step.position}"
        )
    elif step.unit:
        said = f"removed from {step.unit}, {step.position}"
    if earlier is None or earlier.provenance is not step.provenance:
        said += f"; {step.provenance}"
    return Happening(
        step.done_at,
        step.at,
        step.who,
        step.state.value,
        said,
        step.why,
        part.tag,
        step.unit,
        step.position,
    )
