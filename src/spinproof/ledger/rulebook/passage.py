"""R17 to R22: what must be so before energy is let in, the rotor turns, or a gate is passed."""

from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.loading import balance_decisions
from spinproof.ledger.rulebook.configuration import invalidated
from spinproof.ledger.rulebook.identity import UNDECIDED
from spinproof.ledger.rulebook.rule import (
    ALL_CHECKPOINTS,
    ALL_STEPS,
    Force,
    Rule,
    from_checkpoint,
    listed,
)
from spinproof.ledger.shop_entries import Action, Step
from spinproof.ledger.standing import decontamination, is_settled, standing_of
from spinproof.model.attestation import Balance, Direction
from spinproof.model.check import Checkpoint, Energy
from spinproof.model.judgement import Verdict
from spinproof.model.matter import Bypass, Lockout, MatterKind

BONDING, INSULATION, DOOR_PROOF = "D-02", "D-03", "D-08"
"""Checks that must stand before the head is energised, and before its rotor is driven."""
ROTOR, SPINDLE = "RTR", "SPI"
"""Positions of the rotor and of the spindle that it was balanced in."""


def _may_be_energised(file: HeadFile, _: Step) -> tuple[str, ...]:
    found = []
    incoming = decontamination(file, Direction.INCOMING)
    if incoming is None or not incoming[1].cleared:
        found.append("The head is not cleared: its decontamination record is missing or open.")
    if not file.of_kind(MatterKind.LOCKOUT):
        found.append("No lockout is on record that was removed for it.")
    found += [
        f"{lock.name} locks the mains and is not removed."
        for lock in file.open_lockouts
        if isinstance(lock.content, Lockout) and Energy.ELECTRICAL in lock.content.locked
    ]
    for check in (BONDING, INSULATION):
        found += standing_of(file, check).reasons
    return tuple(found)


def _order_kept(file: HeadFile, step: Step) -> tuple[str, ...]:
    point = _AS_CHECKPOINT.get(step)
    if point is None:
        return ()
    earlier = [p for p in Checkpoint if p.number < point.number and not is_settled(file, p)]
    found = [f"Not passed yet: {listed(earlier, most=9)}."] if earlier else []
    if point.number >= Checkpoint.RESTORATION.number:
        found += [
            f"The scope is not agreed: {line.item} is {line.state}."
            for line in file.scope
            if line.unit == file.unit.designation and line.state in UNDECIDED
        ]
    return tuple(found)


_AS_CHECKPOINT: dict[Step, Checkpoint] = {
    **{point: point for point in Checkpoint},
    Action.COUNT: Checkpoint.FINAL_TEST,
}


def _is_balanced(file: HeadFile, _: Step) -> tuple[str, ...]:
    rotor, spindle = file.occupant(ROTOR), file.occupant(SPINDLE)
    if rotor is None or spindle is None:
        return ("No rotor, or no spindle, is on record in this head.",)
    fitted = max(rotor.now.done_at, spindle.now.done_at)
    pair = [
        fact
        for entry, fact in file.stated(Balance)
        if (fact.rotor, fact.spindle) == (rotor.tag, spindle.tag)
    ]
    if not pair:
        return (
            f"Rotor {rotor.tag} has no balance record in spindle {spindle.tag} "
            f"(both there since {fitted}).",
        )
    return tuple(
        f"The balance of rotor {rotor.tag} is not accepted: plane {number} is {decision.verdict} "
        f"({decision.rule})."
        for number, decision in enumerate(balance_decisions(pair[-1]), start=1)
        if decision.verdict is not Verdict.PASS
    )


def _door_proven(file: HeadFile, step: Step) -> tuple[str, ...]:
    found = [
        f"An interlock is bridged: {bridge.name} ({bridge.content.interlock})."
        for bridge in file.bypasses
        if isinstance(bridge.content, Bypass)
    ]
    if step in {Action.TURN, Action.SPIN, Action.COUNT}:
        found += [f"The door is not proven: {r}" for r in standing_of(file, DOOR_PROOF).reasons]
    return tuple(found)


def _nothing_open(file: HeadFile, _: Step) -> tuple[str, ...]:
    return tuple(
        f"{matter.name} is {matter.state}, and neither closed nor waived."
        for matter in file.blocking
        if matter.name not in file.waivers
    )


def _retested(file: HeadFile, step: Step) -> tuple[str, ...]:
    return invalidated(file, step, parts=False)


PASSAGE = (
    Rule(
        "R17",
        "A head is energised only when it is cleared, its lockout is removed, and bonding and "
        "insulation are passed.",
        Force.GATE,
        "checks that need the mains; runs",
        _may_be_energised,
        entering=frozenset({Action.ENERGISE}),
    ),
    Rule(
        "R18",
        "Checkpoints are passed in their order: no wet test before the dry test, no burn-in "
        "before the wet test, no filming before the burn-in.",
        Force.GATE,
        "entering a checkpoint; starting a run",
        _order_kept,
        entering=from_checkpoint(Checkpoint.TEARDOWN) | {Action.COUNT},
    ),
    Rule(
        "R19",
        "No rotor turns above 300 rpm before it has a balance record in its spindle.",
        Force.GATE,
        "checks at full speed; starting a run",
        _is_balanced,
        entering=frozenset({Action.SPIN}),
    ),
    Rule(
        "R20",
        "No rotor is driven without the proof of the closed door, and a bridged interlock closes "
        "every gate.",
        Force.GATE,
        "every gate; checks with a driven rotor; starting a run",
        _door_proven,
        entering=ALL_STEPS,
        passing=ALL_CHECKPOINTS,
    ),
    Rule(
        "R21",
        "A gate needs every nonconformance of safety or function on the head and its shared "
        "module closed, or waived by shop and customer.",
        Force.GATE,
        "passing a gate",
        _nothing_open,
        passing=ALL_CHECKPOINTS,
    ),
    Rule(
        "R22",
        "What a change has made invalid is passed again after it, before its gate is.",
        Force.GATE,
        "what stands of a check by the re-test matrix; passing the gates",
        _retested,
        passing=ALL_CHECKPOINTS,
    ),
)
"""The rules of gates."""
