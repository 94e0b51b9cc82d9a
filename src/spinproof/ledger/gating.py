"""What may come next for a head, and why the rest may not: pure answers from its file."""

from collections.abc import Collection
from dataclasses import dataclass

from spinproof.ledger.entries import UnitKind
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.book import closes_entry, closes_gate
from spinproof.ledger.rulebook.rule import listed
from spinproof.ledger.shop_entries import Action, Step
from spinproof.ledger.standing import (
    burn_in_faults,
    decontamination,
    gate_signature,
    is_settled,
    passed_checks,
    present_checkpoint,
    required_checks,
    standing_of,
    witnessed_run,
)
from spinproof.model.attestation import Balance, Direction
from spinproof.model.check import (
    Checkpoint,
    CheckTemplate,
    Energy,
    Rotation,
    missing_before,
)
from spinproof.model.errors import GateClosedError
from spinproof.model.matter import Lockout
from spinproof.model.run import Purpose


@dataclass(frozen=True)
class Reason:
    """Why something may not be done yet."""

    text: str
    """A sentence."""
    rule: str | None = None
    """Number of the rule that says so."""

    def __str__(self) -> str:
        """Give the sentence with its rule."""
        return f"{self.text} ({self.rule})" if self.rule else self.text


def reasons_not_to_enter(file: HeadFile, step: Step) -> tuple[Reason, ...]:
    """Say why a head may not enter a checkpoint, or why something may not be done on it.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    step : Step
        A checkpoint or an action.

    Returns
    -------
    tuple of Reason
        Empty when it may.
    """
    if file.unit.kind is not UnitKind.HEAD:
        return (Reason(f"{file.unit.designation} is a {file.unit.kind}: no head was tested."),)
    return tuple(Reason(text, rule.id) for rule, text in closes_entry(file, step))


def reasons_not_to_pass(file: HeadFile, checkpoint: Checkpoint) -> tuple[Reason, ...]:
    """Say why a head may not pass a checkpoint.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    checkpoint : Checkpoint
        The checkpoint.

    Returns
    -------
    tuple of Reason
        Empty when it may be signed. What keeps the head from entering comes first.
    """
    entering = reasons_not_to_enter(file, checkpoint)
    if file.unit.kind is not UnitKind.HEAD:
        return entering
    work = tuple(Reason(text) for text in _work_missing(file, checkpoint))
    rules = tuple(Reason(text, rule.id) for rule, text in closes_gate(file, checkpoint))
    unique: dict[str, Reason] = {}
    for reason in (*entering, *rules, *work):
        unique.setdefault(reason.text, reason)
    return tuple(unique.values())


def _work_missing(file: HeadFile, checkpoint: Checkpoint) -> tuple[str, ...]:
    """Give what the checkpoint itself asks for and does not have."""
    standings = [standing_of(file, check.id) for check in required_checks(file, checkpoint)]
    never = [standing.check for standing in standings if standing.result is None]
    missing = tuple(r for s in standings if s.result is not None for r in s.reasons)
    if never:
        checks = "check has" if len(never) == 1 else "checks have"
        missing = (*missing, f"{len(never)} {checks} not been made: {listed(never, most=6)}.")
    if checkpoint is Checkpoint.INCOMING and decontamination(file, Direction.INCOMING) is None:
        return (*missing, "No decontamination record came with the machine.")
    if checkpoint is Checkpoint.FINAL_TEST:
        return (*missing, *burn_in_faults(file))
    if checkpoint is Checkpoint.SOURCE_INSPECTION and witnessed_run(file) is None:
        return (*missing, "No witnessed run of the present configuration counted.")
    return missing


def reasons_not_to_check(file: HeadFile, check: CheckTemplate) -> tuple[Reason, ...]:
    """Say why a check may not be made now.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    check : CheckTemplate
        The check.

    Returns
    -------
    tuple of Reason
        Empty when it may.
    """
    reasons = list(reasons_not_to_enter(file, check.checkpoint))
    reasons += [
        Reason(f"{check.id} comes after {earlier}, which is not passed.")
        for earlier in missing_before(check, passed_checks(file))
    ]
    if Energy.ELECTRICAL in check.energies:
        reasons += reasons_not_to_enter(file, Action.ENERGISE)
    if check.rotation in {Rotation.SLOW, Rotation.FULL}:
        turning = Action.TURN if check.rotation is Rotation.SLOW else Action.SPIN
        reasons += reasons_not_to_enter(file, turning)
    if check.lockout and not any(_suits(lock.content, check) for lock in file.open_lockouts):
        text = f"{check.id} is made under lockout, and none is open that locks what it must."
        reasons.append(Reason(text, "R37"))
    return tuple(dict.fromkeys(reasons))


def reasons_not_to_run(
    file: HeadFile, purpose: Purpose, top_speed_rpm: float
) -> tuple[Reason, ...]:
    """Say why a run may not be started.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    purpose : Purpose
        What the run is for.
    top_speed_rpm : float
        Highest speed of its recipe. [rpm]

    Returns
    -------
    tuple of Reason
        Empty when it may. Trials belong to the wet test, where adjustments are made.
    """
    steps: list[Step] = [_RUN_IN[purpose], Action.ENERGISE, Action.TURN]
    if top_speed_rpm > SLOW_RPM:
        steps.append(Action.SPIN)
    if purpose is Purpose.BURN_IN:
        steps.append(Action.COUNT)
    reasons = [reason for step in steps for reason in reasons_not_to_enter(file, step)]
    reasons += [
        Reason(f"{lock.name} is open: somebody may have hands in the head.", "R37")
        for lock in file.open_lockouts
    ]
    balanced = [fact.service_rpm for _, fact in file.stated(Balance)]
    if top_speed_rpm > SLOW_RPM and balanced and top_speed_rpm > balanced[-1]:
        text = f"{top_speed_rpm:g} rpm is more than the balance is for ({balanced[-1]:g} rpm)."
        reasons.append(Reason(text, "R19"))
    return tuple({reason.text: reason for reason in reasons}.values())


SLOW_RPM = 300.0
"""Up to this speed a rotor may be driven before it is balanced in its spindle. [rpm]"""
_RUN_IN = {
    Purpose.TRIAL: Checkpoint.WET_TEST,
    Purpose.BURN_IN: Checkpoint.FINAL_TEST,
    Purpose.WITNESS: Checkpoint.SOURCE_INSPECTION,
}


def refuse_closed(reasons: Collection[object], where: str) -> None:
    """Refuse what may not be done yet.

    Parameters
    ----------
    reasons : collection of Reason or str
        Why not.
    where : str
        What is refused, for the message.

    Raises
    ------
    GateClosedError
        If there is a reason; the message gives the first four.
    """
    if not reasons:
        return
    shown = " ".join(str(reason) for reason in list(reasons)[:4])
    more = f" And {len(reasons) - 4} more." if len(reasons) > 4 else ""
    raise GateClosedError(
        f"not yet: {shown}{more}".removesuffix("."),
        where=where,
        mend="Do what is missing first; `spinproof why` lists all of it.",
    )


def _suits(content: object, check: CheckTemplate) -> bool:
    needed = set(Energy) - set(check.energies)
    return isinstance(content, Lockout) and needed <= set(content.locked)


def reasons_against(file: HeadFile, step: Step) -> tuple[Reason, ...]:
    """Say why a checkpoint is not passed, or why something may not be done.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    step : Step
        A checkpoint or an action.

    Returns
    -------
    tuple of Reason
        Empty when the checkpoint is passed and stands, or when the action may be taken.
    """
    if file.unit.kind is UnitKind.HEAD and not file.is_full:
        return _reasons_without_gates(file, step)
    if isinstance(step, Action):
        return reasons_not_to_enter(file, step)
    if is_settled(file, step):
        return ()
    reasons = reasons_not_to_pass(file, step)
    return reasons or (Reason(f"The {step} can be passed now, and is not signed yet."),)


def _reasons_without_gates(file: HeadFile, step: Step) -> tuple[Reason, ...]:
    """Say what a job of burn-in only can: it has a burn-in and a witnessed run, and no gates."""
    if step in {Checkpoint.FINAL_TEST, Checkpoint.SOURCE_INSPECTION}:
        return tuple(Reason(text) for text in _work_missing(file, Checkpoint(step)))
    note = "" if file.terms.process.note is None else f" {file.terms.process.note}"
    return (Reason(f"The job was taken in for burn-in only, and has no gate for this.{note}"),)


def require_released(file: HeadFile) -> None:
    """Refuse a dossier of a head of the full process that is not released.

    Parameters
    ----------
    file : HeadFile
        Records of the head.

    Raises
    ------
    GateClosedError
        If its release is not signed, or does not stand any more.
    """
    if file.is_full and not is_settled(file, Checkpoint.RELEASE):
        refuse_closed(
            reasons_against(file, Checkpoint.RELEASE), f"dossier of {file.unit.designation}"
        )


def admissible_checks(file: HeadFile) -> tuple[CheckTemplate, ...]:
    """Give the checks that may be made now, in the order of their sheets.

    Parameters
    ----------
    file : HeadFile
        Records of the head.

    Returns
    -------
    tuple of CheckTemplate
        Of the checkpoint where the head stands; those that stand already are left out.
    """
    point = present_checkpoint(file)
    if point is None:
        return ()
    return tuple(
        check
        for check in required_checks(file, point)
        if not standing_of(file, check.id).stands and not reasons_not_to_check(file, check)
    )


def state_in_words(file: HeadFile) -> str:
    """Give the state of a head in the words of the shop, from the gates that stand."""
    passed = [point for point in Checkpoint if gate_signature(file, point) is not None]
    at = present_checkpoint(file)
    unbroken = [point for point in passed if at is None or point.number < at.number]
    if not unbroken:
        incoming = decontamination(file, Direction.INCOMING)
        cleared = incoming is not None and incoming[1].cleared
        return "received" if incoming is None or cleared else "quarantined"
    return _STATES[unbroken[-1]]


_STATES = {
    Checkpoint.INCOMING: "cleared",
    Checkpoint.TEARDOWN: "torn down and inspected",
    Checkpoint.RESTORATION: "restored",
    Checkpoint.BUILD: "rebuilt",
    Checkpoint.DRY_TEST: "dry test passed",
    Checkpoint.WET_TEST: "wet test passed",
    Checkpoint.FINAL_TEST: "burn-in passed",
    Checkpoint.SOURCE_INSPECTION: "witnessed",
    Checkpoint.RELEASE: "released",
}
