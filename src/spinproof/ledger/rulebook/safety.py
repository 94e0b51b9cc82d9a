"""R37 to R39: people and hazards. The tool asks and warns; it certifies nothing."""

from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.rule import Force, Rule, listed
from spinproof.ledger.shop_entries import Action, PartEntry, PartStepEntry, Step
from spinproof.ledger.standing import decontamination
from spinproof.ledger.states import LockoutState, PartState
from spinproof.model.attestation import Direction, RoomAir
from spinproof.model.check import Checkpoint
from spinproof.model.matter import Lockout, MatterKind

OXYGEN_IN_AIR = 20.9
"""Oxygen in fresh air. [%]"""
OXYGEN_LEAST = 19.5
"""Below this an atmosphere is oxygen-deficient: 29 CFR 1910.146(b). [%]"""


def _work_under_lockout(file: HeadFile, _: Step) -> tuple[str, ...]:
    return tuple(
        f"{part.tag} was {_verb(step)} {step.position} without an open lockout of every energy."
        for part in file.parts
        for number, step in enumerate(part.steps)
        if step.unit in file.unit_names and _is_work(part, number) and not _locked(file, step)
    )


def _verb(step: PartStepEntry) -> str:
    return "fitted at" if step.state is PartState.IN_POSITION else "taken from"


def _is_work(part: PartEntry, number: int) -> bool:
    """Tell whether hands were in the head: not when a part is merely recorded where it sits."""
    as_found = number == 0 and part.steps[0].state is PartState.IN_POSITION
    return not as_found and part.steps[number].state in {PartState.IN_POSITION, PartState.REMOVED}


def _locked(file: HeadFile, step: PartStepEntry) -> bool:
    for lock in file.of_kind(MatterKind.LOCKOUT):
        if not isinstance(lock.content, Lockout) or lock.content.left_on:
            continue
        removed = [s.done_at for s in lock.steps if s.state is LockoutState.REMOVED]
        if lock.opened.done_at <= step.done_at <= min(removed, default="9999"):
            return True
    return False


def steady_oxygen_percent(fresh_air_m3_h: float, nitrogen_m3_h: float) -> float:
    """Give the oxygen of a well-mixed room into which nitrogen is let out, in the long run.

    Parameters
    ----------
    fresh_air_m3_h : float
        Fresh air. [m3/h]
    nitrogen_m3_h : float
        Nitrogen. [m3/h]

    Returns
    -------
    float
        Oxygen; zero without fresh air. [%]

    Notes
    -----
    Balance of a well-mixed room. Near the outlet there is less: a reading counts more.

    Examples
    --------
    >>> round(steady_oxygen_percent(30.0, 10.95), 2)
    15.31
    """
    total = fresh_air_m3_h + nitrogen_m3_h
    return OXYGEN_IN_AIR if total == 0 else OXYGEN_IN_AIR * fresh_air_m3_h / total


def _air_to_breathe(file: HeadFile, _: Step) -> tuple[str, ...]:
    stated = [fact for _, fact in file.stated(RoomAir)]
    if not stated:
        return (
            "No oxygen reading and no ventilation of the room is on record: nitrogen displaces "
            "air. Local rules and a monitor in sight decide, not this program.",
        )
    last = stated[-1]
    if last.oxygen_percent is not None and last.oxygen_percent < OXYGEN_LEAST:
        return (
            f"The last oxygen reading of the room is {last.oxygen_percent:g} %, below "
            f"{OXYGEN_LEAST} %: nobody stays, no nitrogen flows.",
        )
    if last.fresh_air_m3_h is not None and last.nitrogen_m3_h is not None:
        oxygen = steady_oxygen_percent(last.fresh_air_m3_h, last.nitrogen_m3_h)
        if oxygen < OXYGEN_LEAST:
            return (
                f"{last.fresh_air_m3_h:g} m3/h of fresh air and {last.nitrogen_m3_h:g} m3/h of "
                f"nitrogen leave {oxygen:.1f} % oxygen in the long run, below {OXYGEN_LEAST} %: "
                "more fresh air is needed.",
            )
    return ()


def _hazards_stated(file: HeadFile, _: Step) -> tuple[str, ...]:
    outgoing = decontamination(file, Direction.OUTGOING)
    if outgoing is None:
        return ("No outgoing record lists the hazards that remain.",)
    fact = outgoing[1]
    if not fact.hazards and not fact.none_known_by:
        return ("The outgoing record lists no hazard, and nobody says that none is known.",)
    if not fact.cleared:
        return (f"The outgoing record is not cleared: {listed(fact.hazards)}",)
    return ()


SAFETY = (
    Rule(
        "R37",
        "Hands reach into bowl, belt guard or cabinet only under an open lockout that names every "
        "energy and the reading that showed it gone.",
        Force.ALWAYS,
        "fitting and removing parts; checks that are made under lockout",
        _work_under_lockout,
    ),
    Rule(
        "R38",
        "Where nitrogen flows with people in the room, its ventilation or an oxygen reading of "
        "19.5 % or more is on record. The tool computes and warns; it certifies nothing.",
        Force.PRINTS,
        "beside wet test, burn-in and source inspection",
        _air_to_breathe,
        entering=frozenset(
            {Checkpoint.WET_TEST, Checkpoint.FINAL_TEST, Checkpoint.SOURCE_INSPECTION}
        ),
    ),
    Rule(
        "R39",
        "The outgoing record lists the hazards that remain, or names who says that none is known.",
        Force.GATE,
        "shipping",
        _hazards_stated,
        entering=frozenset({Action.SHIP}),
    ),
)
"""The rules of safety."""
