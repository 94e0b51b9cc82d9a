"""What may come next for a head, and why the rest may not."""

from dataclasses import dataclass
from datetime import date

from spinproof.app.clock import utc_now
from spinproof.ledger.gating import (
    admissible_checks,
    reasons_against,
    reasons_not_to_pass,
    state_in_words,
)
from spinproof.ledger.head_reading import HeadReading
from spinproof.ledger.rulebook.book import printed_beside
from spinproof.ledger.shop_entries import Action, Meaning, SignatureEntry, Step
from spinproof.ledger.standing import covered_by, covers_hash, present_checkpoint
from spinproof.model.check import Checkpoint
from spinproof.model.errors import RecordError
from spinproof.model.job import Process


@dataclass(frozen=True)
class NextSteps:
    """Where a head stands, and what may be done next."""

    head: str
    state: str
    """In the words of the shop, for example "dry test passed"."""
    checkpoint: Checkpoint | None
    """The first one that is not passed; None when all are."""
    may: tuple[str, ...]
    """What may be done now, each in a sentence."""
    may_not: tuple[str, ...]
    """What keeps the checkpoint from being passed, each in a sentence."""
    beside: tuple[str, ...]
    """What must be said as well, though it refuses nothing."""


def steps_by_name() -> dict[str, Step]:
    """Give every step that can be asked for, by its name."""
    return {step.value: step for step in (*Checkpoint, *Action)}


def step_named(name: str) -> Step:
    """Give a checkpoint or an action by its name.

    Raises
    ------
    RecordError
        If there is none of that name.
    """
    known = steps_by_name()
    asked = " ".join(name.replace("-", " ").split()).casefold()
    found = {key.casefold(): step for key, step in known.items()} | {
        "burn in": Checkpoint.FINAL_TEST
    }
    if asked not in found:
        raise RecordError(
            f'there is no checkpoint "{name}"',
            where="name of the checkpoint",
            mend=f"Choose one of: {', '.join(known)}.",
        )
    return found[asked]


def why(reading: HeadReading, head: str, step: Step, today: date | None = None) -> tuple[str, ...]:
    """Say why a head has not passed a checkpoint, or why something may not be done on it.

    Parameters
    ----------
    reading : HeadReading
        The records.
    head : str
        Designation of the head.
    step : Step
        A checkpoint or an action.
    today : date, optional
        Day by which waivers end; the present one when left out.

    Returns
    -------
    tuple of str
        Sentences; empty when the checkpoint is passed, or the action may be taken.
    """
    if not reading.unit(head).in_scope:
        return (_excluded(head),)
    file = reading.head_file(head, today or utc_now().date())
    return tuple(str(reason) for reason in reasons_against(file, step))


def next_steps(reading: HeadReading, head: str, today: date | None = None) -> NextSteps:
    """Say where a head stands, what may be done next, and why the rest may not.

    Parameters
    ----------
    reading : HeadReading
        The records.
    head : str
        Designation of the head.
    today : date, optional
        Day by which waivers end; the present one when left out.

    Returns
    -------
    NextSteps
        In sentences.
    """
    if not reading.unit(head).in_scope:
        return NextSteps(head, "not in scope", None, (), (_excluded(head),), ())
    file = reading.head_file(head, today or utc_now().date())
    if file.terms.process is not Process.FULL:
        note = file.terms.process.note or ""
        return NextSteps(head, "burn-in only", None, (), (note,), ())
    point = present_checkpoint(file)
    if point is None:
        return NextSteps(head, state_in_words(file), None, (), (), ())
    reasons = reasons_not_to_pass(file, point)
    may = [f"{check.id}: {check.title}." for check in admissible_checks(file)]
    if not reasons:
        may.append(_signing(file.signatures, point, covers_hash(covered_by(file, point))))
    return NextSteps(
        head=head,
        state=state_in_words(file),
        checkpoint=point,
        may=tuple(may),
        may_not=tuple(str(reason) for reason in reasons),
        beside=tuple(f"{text} ({rule.id})" for rule, text in printed_beside(file, point)),
    )


def _excluded(head: str) -> str:
    return (
        f"{head} was excluded by the customer: it is neither tested nor released here, nothing is "
        "claimed of it, and it is shipped as received. (R04)"
    )


def _signing(signatures: tuple[SignatureEntry, ...], point: Checkpoint, covers: str) -> str:
    performed = [
        signature.who
        for signature in signatures
        if signature.checkpoint is point
        and signature.meaning is Meaning.PERFORMED
        and signature.covers == covers
    ]
    if performed:
        return f"The {point} may be verified by somebody else than {performed[-1]}."
    return f'The {point} may be signed as "performed".'
