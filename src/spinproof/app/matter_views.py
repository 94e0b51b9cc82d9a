"""Nonconformances, waivers and bridged interlocks of a head as its page shows them."""

from dataclasses import dataclass
from datetime import date

from spinproof.app.part_views import evidence_words
from spinproof.ledger.entries import UnitKind
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.shop_entries import MatterEntry
from spinproof.ledger.states import (
    MATTERS,
    BypassState,
    NonconformanceState,
    WaiverState,
    allowed,
)
from spinproof.model.check import Checkpoint
from spinproof.model.matter import Bypass, MatterKind, Nonconformance, StepDetail, Waiver

OVER = frozenset(
    {
        NonconformanceState.CLOSED,
        WaiverState.IN_FORCE,
        WaiverState.REFUSED,
        WaiverState.WITHDRAWN,
        BypassState.REMOVED,
    }
)
"""States in which nobody has to act."""
MUST_DECIDE = frozenset(
    {
        NonconformanceState.VERIFIED,
        NonconformanceState.CLOSED,
        WaiverState.APPROVED_BY_SHOP,
        WaiverState.IN_FORCE,
        WaiverState.REFUSED,
    }
)
"""States that only somebody who decides on gates brings about."""


@dataclass(frozen=True)
class StepLine:
    """A step of a matter."""

    state: str
    words: str
    who: str
    done_at: str


@dataclass(frozen=True)
class MatterLine:
    """A nonconformance, a waiver or a bridged interlock, and what may become of it."""

    name: str
    kind: str
    unit: str | None
    state: str
    severity: str | None
    words: str
    about: tuple[str, ...]
    """What it hangs on: position, check, run, finding; risk and last day of a waiver."""
    is_open: bool
    stops_gates: bool
    steps: tuple[StepLine, ...]
    next_states: tuple[str, ...]
    asked_by: str
    approved_by: str | None
    """Who approved a waiver for the shop."""
    customer: str | None
    """What shows the customer's approval of a waiver."""


@dataclass(frozen=True)
class MatterBoard:
    """The nonconformances, waivers and bridged interlocks of a head."""

    unit: str
    is_head: bool
    job: str
    lines: tuple[MatterLine, ...]
    """Open ones first."""
    subjects: tuple[str, ...]
    """What a waiver may be about."""
    checks: tuple[str, ...]
    positions: tuple[str, ...]
    evidence: tuple[str, ...]

    @property
    def open(self) -> tuple[MatterLine, ...]:
        """Those on which somebody has to act."""
        return tuple(line for line in self.lines if line.is_open)


def matter_board(records: HeadReading, unit: str, today: date) -> MatterBoard:
    """Gather the matters of a head, its shared module and its job.

    Parameters
    ----------
    records : HeadReading
        The ledger, open for reading.
    unit : str
        Head or shared module.
    today : date
        Day on which the page is shown.

    Returns
    -------
    MatterBoard
        Open ones first, each kind in the order of its numbers.
    """
    file = records.head_file(unit, today)
    kept = (MatterKind.BYPASS, MatterKind.NONCONFORMANCE, MatterKind.WAIVER)
    lines = [_line(matter) for kind in kept for matter in file.of_kind(kind)]
    sheets = file.rules.sheets if file.rules else ()
    checks = tuple(check.id for sheet in sheets for check in sheet.checks)
    ncrs = tuple(line.name for line in lines if line.kind == MatterKind.NONCONFORMANCE)
    return MatterBoard(
        unit=unit,
        is_head=file.unit.kind is UnitKind.HEAD,
        job=file.unit.job,
        lines=tuple(sorted(lines, key=lambda line: not line.is_open)),
        subjects=(*ncrs, *checks, *(point.value for point in Checkpoint)),
        checks=checks,
        positions=tuple(place.code for place in file.positions),
        evidence=tuple(evidence_words(item.name, item.sha256) for item in file.evidence),
    )


def _line(matter: MatterEntry) -> MatterLine:
    is_open = matter.state not in OVER
    content = matter.content
    severity = content.severity if isinstance(content, Nonconformance) else None
    approving = [s.who for s in matter.steps if s.state is WaiverState.APPROVED_BY_SHOP]
    tokens = [step.detail.token for step in matter.steps if step.detail.token]
    return MatterLine(
        name=matter.name,
        kind=matter.kind.value,
        unit=matter.unit,
        state=matter.state.value,
        severity=severity.value if severity else None,
        words=_words(content),
        about=_about(content),
        is_open=is_open,
        stops_gates=is_open
        and (isinstance(content, Bypass) or (severity is not None and severity.blocks_a_gate)),
        steps=tuple(
            StepLine(step.state.value, _said(step.why, step.detail), step.who, step.done_at)
            for step in matter.steps
        ),
        next_states=tuple(state.value for state in allowed(MATTERS[matter.kind], matter.state)),
        asked_by=matter.opened.who,
        approved_by=approving[-1] if approving else None,
        customer=tokens[-1] if tokens else None,
    )


def _words(content: object) -> str:
    if isinstance(content, Waiver):
        return f"{content.subject}: {content.why}"
    if isinstance(content, Bypass):
        return f"An interlock is bridged, {content.interlock}: {content.why}"
    return content.text if isinstance(content, Nonconformance) else ""


def _about(content: object) -> tuple[str, ...]:
    if isinstance(content, Waiver):
        until = f"until {content.until}" if content.until else "for the whole job"
        return (f"risk: {content.risk}", until)
    if not isinstance(content, Nonconformance):
        return ()
    named = {
        "position": content.position,
        "checkpoint": content.checkpoint,
        "check": content.check,
        "run": content.run,
        "finding": content.finding,
    }
    return tuple(f"{name} {value}" for name, value in named.items() if value is not None)


def _said(why: str | None, detail: StepDetail) -> str:
    added = {
        "disposition": detail.disposition,
        "cause": detail.cause,
        "customer's approval": detail.token,
    }
    more = [f"{name}: {value}" for name, value in added.items() if value is not None]
    return "; ".join([*([why] if why else []), *more])
