"""R01 to R10: which part sits where, and what was agreed about it."""

import re

from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.rule import Force, Rule, from_checkpoint, listed
from spinproof.ledger.shop_entries import Action, PartEntry, PartStepEntry, ScopeEntry, Step
from spinproof.ledger.states import PartState
from spinproof.model.attestation import Acknowledgement, HeldPaper
from spinproof.model.check import Checkpoint
from spinproof.model.errors import TagError
from spinproof.model.handover import ScopeState
from spinproof.model.matter import MatterKind, Nonconformance
from spinproof.model.part import Provenance, missing_papers
from spinproof.model.run import Outcome
from spinproof.model.tag import parse_tag

EXCHANGED = frozenset(
    {Provenance.REPLACED_NEW, Provenance.REPLACED_REFURBISHED, Provenance.DONOR_PULLED}
)
"""Provenances of a part that the shop put in another one's place."""
UNDECIDED = frozenset({ScopeState.PROPOSED, ScopeState.RECOMMENDED})


def _one_position(file: HeadFile, _: Step) -> tuple[str, ...]:
    found = []
    for part in file.parts:
        seat: str | None = None
        for each in part.steps:
            if each.state is PartState.IN_POSITION:
                if seat is not None:
                    found.append(f"{part.tag} would sit in {seat} and in {each.position} at once.")
                seat = each.position
            else:
                seat = None
    for (unit, position), parts in file.occupants.items():
        if len(parts) > 1:
            tags = " and ".join(part.tag for part in parts)
            found.append(f"{tags} would sit in {unit}, {position} at once.")
    return tuple(found)


def _accounted(file: HeadFile, step: Step) -> tuple[str, ...]:
    missing = []
    for place in file.positions:
        if file.occupant(place.code) is not None or file.vacancy(place.code) is not None:
            continue
        taken_out = bool(file.steps_at(place.code))
        if taken_out and isinstance(step, Checkpoint) and step.number < Checkpoint.BUILD.number:
            continue  # its part is on the bench, and the record says why
        missing.append(f"{place.code} ({place.name})")
    if not missing:
        return ()
    return (
        f"{len(missing)} positions hold neither one part nor a reason for being empty: "
        f"{listed(missing)}.",
    )


def _tags_valid(file: HeadFile, _: Step) -> tuple[str, ...]:
    found = []
    for part in file.parts:
        try:
            parse_tag(part.tag)
        except TagError as error:
            found.append(f"{part.tag}: {error.what}.")
    return tuple(found)


def _declined_head(file: HeadFile, _: Step) -> tuple[str, ...]:
    if file.unit.in_scope:
        return ()
    claims = [f"signature of the {s.checkpoint}" for s in file.signatures]
    claims += [f"pass of {check.check}" for check in file.checks if check.passed]
    claims += [f"run {run.name}" for run in file.runs if run.outcome is Outcome.COUNTED]
    claims += [
        f"accepted line {line.item}"
        for line in file.scope
        if line.unit == file.unit.designation and line.state.printed is ScopeState.ACCEPTED
    ]
    return tuple(f"The head is out of scope, and the record holds a {claim}." for claim in claims)


def observed(file: HeadFile) -> tuple[str, ...]:
    """Give what was seen on a head out of scope, for print under "observed, not in scope".

    Parameters
    ----------
    file : HeadFile
        Records of the head.

    Returns
    -------
    tuple of str
        Sentences without any verdict; empty for a head in scope.
    """
    if file.unit.in_scope:
        return ()
    return tuple(
        f"{m.check}, {m.reading}: {m.value:g} {m.symbol}."
        if m.value is not None
        else f"{m.check}, {m.reading}: {m.words or ('yes' if m.yes else 'no')}."
        for m in file.measurements
        if not m.is_withdrawn
    )


def exclusions(scope: tuple[ScopeEntry, ...]) -> tuple[ScopeEntry, ...]:
    """Give the lines that every customer document prints as excluded.

    Parameters
    ----------
    scope : tuple of ScopeEntry
        The scope of a job.

    Returns
    -------
    tuple of ScopeEntry
        Declined, deferred, withdrawn, and what was never agreed.
    """
    return tuple(line for line in scope if line.state.printed is ScopeState.DECLINED)


def without_warranty(scope: tuple[ScopeEntry, ...]) -> tuple[ScopeEntry, ...]:
    """Give the lines on which the shop gives no warranty, for the customer supplies the part.

    Parameters
    ----------
    scope : tuple of ScopeEntry
        The scope of a job.

    Returns
    -------
    tuple of ScopeEntry
        Lines supplied by the customer.
    """
    return tuple(line for line in scope if line.state is ScopeState.CUSTOMER_SUPPLIED)


def left_out(scope: tuple[ScopeEntry, ...], printed: tuple[str, ...]) -> tuple[str, ...]:
    """Give the exclusions that a document does not print.

    Parameters
    ----------
    scope : tuple of ScopeEntry
        The scope of a job.
    printed : tuple of str
        Items that the document prints as excluded.

    Returns
    -------
    tuple of str
        Items; empty when the document is complete.
    """
    return tuple(line.item for line in exclusions(scope) if line.item not in printed)


def _exclusions_acknowledged(file: HeadFile, _: Step) -> tuple[str, ...]:
    shown = [fact for _, fact in file.stated(Acknowledgement)]
    if not shown:
        return ()  # that there is one at all is asked for by R45
    missing = left_out(file.scope, shown[-1].exclusions)
    return tuple(f"The customer acknowledged a list without exclusion {item}." for item in missing)


def _shared_decided(file: HeadFile, _: Step) -> tuple[str, ...]:
    if file.shared is None:
        return ()
    name = file.shared.designation
    lines = [line for line in file.scope if line.unit == name]
    if not lines:
        return (f"Nothing is agreed about the shared module {name}.",)
    return tuple(
        f"{line.item} of the shared module {name} is {line.state}, and nobody decided on it."
        for line in lines
        if line.state in UNDECIDED
    )


def _accepted_has_evidence(file: HeadFile, _: Step) -> tuple[str, ...]:
    bare = [
        line.item
        for line in file.scope
        if line.unit in file.unit_names
        and line.state.printed is ScopeState.ACCEPTED
        and not line.evidence
    ]
    if not bare:
        return ()
    return (f"{len(bare)} accepted lines of the scope have no evidence: {listed(bare)}.",)


def is_exchange_agreed(
    states: list[ScopeState], provenance: Provenance, *, came_from_here: bool
) -> bool:
    """Tell whether the scope's lines of a position allow what was put there.

    Parameters
    ----------
    states : list of ScopeState
        States of the lines about the position.
    provenance : Provenance
        What was put there.
    came_from_here : bool
        Whether it is the part that came with the head in this position; any other one is an
        exchange, whatever is claimed of it.

    Returns
    -------
    bool
        True also when nothing was exchanged.
    """
    if provenance is Provenance.CUSTOMER_SUPPLIED:
        return ScopeState.CUSTOMER_SUPPLIED in states
    if came_from_here and provenance not in EXCHANGED:
        return True
    return any(state.printed is ScopeState.ACCEPTED for state in states)


def _exchanges_agreed(file: HeadFile, _: Step) -> tuple[str, ...]:
    asked_about = {
        (matter.unit, matter.content.position)
        for matter in file.of_kind(MatterKind.NONCONFORMANCE)
        if isinstance(matter.content, Nonconformance)
    }
    return tuple(
        f"{part.tag} was fitted as {each.provenance} at {each.position}, which nobody accepted, "
        "and no nonconformance says so."
        for part in file.parts
        for each in part.steps
        if each.state is PartState.IN_POSITION
        and not _agreed_then(file, part, each)
        and (each.unit, each.position) not in asked_about
    )


def _agreed_then(file: HeadFile, part: PartEntry, fitted: PartStepEntry) -> bool:
    states = [
        next((s.state for s in reversed(line.steps) if s.at <= fitted.at), ScopeState.PROPOSED)
        for line in file.scope
        if (line.unit, line.position) == (fitted.unit, fitted.position)
    ]
    own = came_from(part, fitted.unit, fitted.position)
    return is_exchange_agreed(states, fitted.provenance, came_from_here=own)


def came_from(part: PartEntry, unit: str | None, position: str | None) -> bool:
    """Tell whether a part came with the head in this very position."""
    first = part.steps[0]
    return (first.state, first.unit, first.position) == (PartState.IN_POSITION, unit, position)


def _papers_held(file: HeadFile, _: Step) -> tuple[str, ...]:
    held = [fact for _, fact in file.stated(HeldPaper)]

    def missing(part: PartEntry) -> tuple[str, ...]:
        own = [fact.paper for fact in held if fact.tag == part.tag]
        return missing_papers(part.now.provenance, own)

    return tuple(
        f"{part.tag} ({part.now.provenance}) lacks its {paper}."
        for parts in file.occupants.values()
        for part in parts
        for paper in missing(part)
    )


_WARRANTY = re.compile(r"\bwarrant", re.IGNORECASE)
_NO_WARRANTY = re.compile(r"\b(?:no|without|not|never)\b[^.]*\bwarrant", re.IGNORECASE)


def _no_warranty_text(file: HeadFile, _: Step) -> tuple[str, ...]:
    return tuple(
        f'{line.item} is supplied by the customer, and its text speaks of a warranty: "{text}".'
        for line in without_warranty(file.scope)
        for text in (line.text, line.consequence or "")
        if _WARRANTY.search(text) and not _NO_WARRANTY.search(text)
    )


IDENTITY = (
    Rule(
        "R01",
        "A part sits in one position at a time, and a position holds one part.",
        Force.ALWAYS,
        "fitting, removing and replacing a part",
        _one_position,
    ),
    Rule(
        "R02",
        "At a gate, every position of a head in scope holds one part, or is empty for a stated "
        "reason.",
        Force.GATE,
        "passing a gate, from the teardown on; until the build a part on the bench counts",
        _accounted,
        passing=from_checkpoint(Checkpoint.TEARDOWN),
    ),
    Rule(
        "R03",
        "A tag with a wrong check character is refused, never stored with a warning.",
        Force.ALWAYS,
        "every entry of a tag",
        _tags_valid,
    ),
    Rule(
        "R04",
        "Nothing is claimed of a head out of scope; what was seen on it prints as observed.",
        Force.ALWAYS,
        "signatures, checks, runs and scope; `observed` gives what may print",
        _declined_head,
        full_process_only=False,
    ),
    Rule(
        "R05",
        "Every line that was not agreed prints as an exclusion on every customer document.",
        Force.GATE,
        "`exclusions` and `left_out`, which every document uses; the acknowledgement before "
        "shipping",
        _exclusions_acknowledged,
        entering=frozenset({Action.SHIP}),
        simplest_form="Quote, film card and shipping list have no document yet.",
    ),
    Rule(
        "R06",
        "What is done about the shared module is decided before the dry test of any head.",
        Force.GATE,
        "entering the dry test",
        _shared_decided,
        entering=from_checkpoint(Checkpoint.DRY_TEST),
    ),
    Rule(
        "R07",
        "No accepted work reaches the release without evidence.",
        Force.GATE,
        "passing the release; calling a line of the scope done",
        _accepted_has_evidence,
        passing=frozenset({Checkpoint.RELEASE}),
    ),
    Rule(
        "R08",
        "A part exchanged where nobody accepted it raises a nonconformance.",
        Force.ALWAYS,
        "fitting a part; the nonconformance is opened in the same transaction",
        _exchanges_agreed,
    ),
    Rule(
        "R09",
        "What is claimed of a part's origin has its papers: new, refurbished, or from a donor.",
        Force.GATE,
        "passing a gate from the build on",
        _papers_held,
        passing=from_checkpoint(Checkpoint.BUILD),
    ),
    Rule(
        "R10",
        "No text gives a shop warranty on what the customer supplied.",
        Force.ALWAYS,
        "texts of the scope; `without_warranty` gives the lines for print",
        _no_warranty_text,
    ),
)
"""The rules of identity and scope."""
