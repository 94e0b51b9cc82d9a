"""What the gate board of a head may show: each checkpoint, why it is closed, who signed."""

from dataclasses import dataclass

from spinproof.app.check_views import SheetView, sheet_view
from spinproof.app.work_steps import WorkStep, work_steps
from spinproof.ledger import standing
from spinproof.ledger.gates import performers_of
from spinproof.ledger.gating import (
    Reason,
    reasons_not_to_enter,
    reasons_not_to_pass,
    state_in_words,
)
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.book import printed_beside
from spinproof.ledger.shop_entries import Action, MatterEntry, SignatureEntry
from spinproof.ledger.shop_entries import Meaning as Meaning
from spinproof.model.access import name_key
from spinproof.model.check import Checkpoint
from spinproof.model.matter import Bypass, Content, Lockout

PASSED, WAIVED, OPEN, WAITING = "pass", "waived", "open", "waiting"
VERIFY, REPEAT = "to be verified", "to be repeated"

IN_ORDER_OF_TIME = frozenset({"R11", "R14", "R15", "R16"})
"""Rules that a wrong order of dates breaks."""


@dataclass(frozen=True)
class SignatureView:
    """A signature of a gate."""

    meaning: str
    who: str
    role: str | None
    done_at: str
    at: str
    holds: bool
    """Whether the records that it covers are the ones in force."""


@dataclass(frozen=True)
class GateLine:
    """A checkpoint of the board."""

    checkpoint: Checkpoint
    word: str
    reasons: tuple[Reason, ...]
    """What keeps it closed."""
    notes: tuple[Reason, ...]
    """What must be said beside it, though it closes nothing."""
    invalidated: tuple[str, ...]
    """What a change made worthless, each in a sentence."""
    checks: SheetView | None
    signatures: tuple[SignatureView, ...]
    outstanding: Meaning | None
    """The signature that may be given now."""
    covers: int
    """Records that a signature would cover."""
    performers: tuple[str, ...]
    """Who did work that it covers, and so cannot verify it."""
    steps: tuple[WorkStep, ...]
    """What is usually done there, how far it is, and where."""
    evidence: tuple[str, ...]
    """What files that were taken in there show; those of its checks are left to them."""

    @property
    def is_red(self) -> bool:
        """Whether somebody has to act before the head can go on."""
        return self.word in {VERIFY, REPEAT} or bool(self.conflicts)

    @property
    def conflicts(self) -> tuple[Reason, ...]:
        """Dates that stand in the wrong order."""
        return tuple(r for r in (*self.reasons, *self.notes) if r.rule in IN_ORDER_OF_TIME)

    @property
    def path(self) -> str:
        """The checkpoint as a part of an address."""
        return self.checkpoint.value.replace(" ", "-")

    @property
    def next_step(self) -> WorkStep | None:
        """The first piece of its work that is not done."""
        return next((step for step in self.steps if step.done is False), None)


@dataclass(frozen=True)
class GateBoard:
    """The checkpoints of one head, in their order."""

    head: str
    letter: str
    job: str
    in_scope: bool
    lines: tuple[GateLine, ...]
    present: Checkpoint | None
    """The first one that is not passed; None when all are."""
    state: str
    """Where the head stands, in words."""
    blocking: tuple[str, ...]
    """Open nonconformances and bypasses, each in a sentence."""
    locks: tuple[str, ...]
    """Lockouts that are on, each in a sentence."""
    spinning: tuple[Reason, ...]
    """Why the drive may not turn the rotor above 300 rpm."""
    energising: tuple[Reason, ...]

    @property
    def red(self) -> tuple[GateLine, ...]:
        """What somebody has to act on, in order."""
        return tuple(line for line in self.lines if line.is_red)

    @property
    def now(self) -> GateLine | None:
        """The line of the present checkpoint."""
        return next((line for line in self.lines if line.checkpoint is self.present), None)

    def line(self, path: str) -> GateLine | None:
        """Give the line that an address names."""
        return next((line for line in self.lines if line.path == path), None)


def gate_board(file: HeadFile) -> GateBoard:
    """Show the gates of a head.

    Parameters
    ----------
    file : HeadFile
        Records of the head.

    Returns
    -------
    GateBoard
        The board.
    """
    file.require_rules()
    present = standing.present_checkpoint(file)
    return GateBoard(
        head=file.unit.designation,
        letter=file.unit.letter,
        job=file.unit.job,
        in_scope=file.unit.in_scope,
        lines=tuple(_line(file, point, present) for point in Checkpoint),
        present=present,
        state=state_in_words(file),
        blocking=_in_words((*file.blocking, *file.bypasses)),
        locks=_in_words(file.open_lockouts),
        spinning=reasons_not_to_enter(file, Action.SPIN),
        energising=reasons_not_to_enter(file, Action.ENERGISE),
    )


def _line(file: HeadFile, point: Checkpoint, present: Checkpoint | None) -> GateLine:
    covered = standing.covered_by(file, point)
    covers = standing.covers_hash(covered)
    signed = tuple(s for s in file.signatures if s.checkpoint is point)
    performed = any(s.meaning is Meaning.PERFORMED and s.covers == covers for s in signed)
    is_present = point is present
    reasons = () if standing.is_settled(file, point) else reasons_not_to_pass(file, point)
    outstanding = None
    if is_present and not reasons:
        outstanding = Meaning.VERIFIED if performed else Meaning.PERFORMED
    own = file.require_rules().sheet(point)
    sheet = None if own is None else sheet_view(file, own)
    start = f"{point}: "
    return GateLine(
        checkpoint=point,
        word=_word(file, point, signed, performed=performed, is_present=is_present),
        reasons=reasons,
        notes=tuple(Reason(text, rule.id) for rule, text in printed_beside(file, point)),
        invalidated=_invalidated(file, sheet),
        checks=sheet,
        signatures=tuple(_signature(s, covers) for s in signed),
        outstanding=outstanding,
        covers=len(covered),
        performers=tuple(sorted(_performers(file, point, signed, covers).values())),
        steps=work_steps(file, point),
        evidence=tuple(
            item.what.removeprefix(start) for item in file.evidence if item.what.startswith(start)
        ),
    )


def _performers(
    file: HeadFile, point: Checkpoint, signed: tuple[SignatureEntry, ...], covers: str
) -> dict[str, str]:
    """Give who did work that a signature covers, or signed that it is done."""
    own = [s.who for s in signed if s.meaning is Meaning.PERFORMED and s.covers == covers]
    return performers_of(file, point) | {name_key(name): name for name in own[-1:]}


def _word(
    file: HeadFile,
    point: Checkpoint,
    signed: tuple[SignatureEntry, ...],
    *,
    performed: bool,
    is_present: bool,
) -> str:
    if point.value in file.waivers:
        return WAIVED
    if standing.gate_signature(file, point) is not None:
        return PASSED
    if performed:
        return VERIFY
    if any(s.meaning is Meaning.VERIFIED for s in signed):
        return REPEAT
    return OPEN if is_present else WAITING


def _signature(signature: SignatureEntry, covers: str) -> SignatureView:
    return SignatureView(
        meaning=signature.meaning.value,
        who=signature.who,
        role=signature.role,
        done_at=signature.done_at,
        at=signature.at,
        holds=signature.covers == covers,
    )


def _invalidated(file: HeadFile, sheet: SheetView | None) -> tuple[str, ...]:
    lines = () if sheet is None else sheet.lines
    found = (standing.standing_of(file, line.id) for line in lines if line.word == REPEAT)
    return tuple(sentence for check in found for sentence in check.reasons)


def _in_words(matters: tuple[MatterEntry, ...]) -> tuple[str, ...]:
    return tuple(f"{m.name}: {_about(m.content)} ({m.state})." for m in matters)


def _about(content: Content) -> str:
    if isinstance(content, Bypass):
        return f"an interlock is bridged, {content.interlock}"
    if isinstance(content, Lockout):
        return f"locked out, {content.where}"
    return getattr(content, "text", "").removesuffix(".")
