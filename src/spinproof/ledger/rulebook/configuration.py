"""R11 to R16: time, configuration and limits."""

from datetime import datetime, timedelta

from spinproof.ledger.answers import limit_in_force
from spinproof.ledger.entries import RunEntry
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.rule import ALL_CHECKPOINTS, Force, Rule, listed
from spinproof.ledger.shop_entries import Meaning, SignatureEntry, Step
from spinproof.ledger.standing import (
    covered_by,
    covered_times,
    covers_hash,
    required_checks,
    standing_of,
)
from spinproof.model.access import name_key
from spinproof.model.attestation import ClockCheck, EvidenceDetail
from spinproof.model.check import Checkpoint
from spinproof.model.retest import ChangeKind
from spinproof.model.run import Outcome, Purpose

COMPARED_WITHIN = timedelta(hours=24)
"""How fresh the comparison of a device's clock must be."""


def _tested_after_fitting(file: HeadFile, step: Step) -> tuple[str, ...]:
    return invalidated(file, step, parts=True)


def invalidated(file: HeadFile, step: Step, *, parts: bool) -> tuple[str, ...]:
    """Give the checks of a checkpoint that a change has made worthless.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    step : Step
        The checkpoint.
    parts : bool
        Whether changes of parts are asked for, or all others.

    Returns
    -------
    tuple of str
        Sentences.
    """
    if not isinstance(step, Checkpoint):
        return ()
    standings = [standing_of(file, check.id) for check in required_checks(file, step)]
    return tuple(
        standing.reasons[0]
        for standing in standings
        if standing.invalidated_by is not None
        and (standing.invalidated_by.change.kind is ChangeKind.PART) is parts
    )


def _counted(file: HeadFile) -> list[RunEntry]:
    return [
        run
        for run in file.runs
        if run.outcome is Outcome.COUNTED and run.purpose is Purpose.BURN_IN
    ]


def _one_fingerprint(file: HeadFile, _: Step) -> tuple[str, ...]:
    own = {campaign.number: campaign.configuration for campaign in file.campaigns}
    return tuple(
        f"Run {run.name} counts in campaign {run.campaign}, which has another configuration."
        for run in _counted(file)
        if run.campaign is not None and run.configuration != own[run.campaign]
    )


def _change_closes(file: HeadFile, _: Step) -> tuple[str, ...]:
    return tuple(
        f"Campaign {campaign.number} is open, and the head was changed since it began."
        for campaign in file.campaigns
        if campaign.closing is None and campaign.configuration != file.fingerprint
    )


def _clocks_compared(file: HeadFile, _: Step) -> tuple[str, ...]:
    compared = [
        (fact.device, datetime.fromisoformat(entry.done_at))
        for entry, fact in file.stated(ClockCheck)
    ]
    flagged = []
    for _entry, fact in file.stated(EvidenceDetail):
        if fact.device is None or fact.captured_at is None:
            continue
        taken = datetime.fromisoformat(fact.captured_at)
        gaps = [abs(taken - at) for device, at in compared if device == fact.device]
        if min(gaps, default=timedelta.max) > COMPARED_WITHIN:
            item = file.evidence_by_hash.get(fact.sha256)
            flagged.append(item.name if item else fact.sha256[:12])
    if not flagged:
        return ()
    return (
        "The clock of the device was not compared within 24 hours of these recordings: "
        f"{listed(flagged)}.",
    )


def _signatures_sound(file: HeadFile, _: Step) -> tuple[str, ...]:
    found = []
    results = {f"result {check.id}": check for check in file.checks}
    for signature in file.signatures:
        own = [results[value] for _, value in signature.covered if value in results]
        later = [check.check for check in own if check.done_at > signature.done_at]
        if later:
            found.append(
                f"The signature of the {signature.checkpoint} by {signature.who} is dated "
                f"{signature.done_at}, before {listed(later)} was made."
            )
        if signature.meaning is Meaning.VERIFIED:
            found += _verified_own_work(file, signature)
    return tuple(found) + _later_records(file)


def _verified_own_work(file: HeadFile, signature: SignatureEntry) -> list[str]:
    performed = [
        other.who
        for other in file.signatures
        if other.checkpoint is signature.checkpoint
        and other.meaning is Meaning.PERFORMED
        and other.covers == signature.covers
    ]
    if not performed:
        return [f"The {signature.checkpoint} is verified, and nobody signed it as performed."]
    covered = {value for _, value in signature.covered}
    results = [check for check in file.checks if f"result {check.id}" in covered]
    measured = {number for check in results for number in check.measurements}
    makers = performed + [check.who for check in results]
    makers += [m.who for m in file.measurements if m.id in measured]
    if name_key(signature.who) in {name_key(who) for who in makers}:
        return [
            f"{signature.who} did work that the {signature.checkpoint} covers, and verified it."
        ]
    return []


def _later_records(file: HeadFile) -> tuple[str, ...]:
    """Signatures whose records are in force, and of which one is later than the signature."""
    found = []
    for point in Checkpoint:
        signed = [s for s in file.signatures if s.checkpoint is point]
        if not signed or signed[-1].covers != covers_hash(covered_by(file, point)):
            continue
        times = covered_times(file, point)
        late = [what for what, at in times.items() if at > signed[-1].done_at]
        if late:
            found.append(
                f"The signature of the {point} is dated {signed[-1].done_at}, before what it "
                f"covers: {listed(late)}."
            )
    return tuple(found)


def _limit_before_reading(file: HeadFile, _: Step) -> tuple[str, ...]:
    if file.rules is None:
        return ()
    return tuple(
        f"{m.check}, {m.reading}: judged by a limit that was not in force when it was measured."
        for m in file.measurements
        if m.limit is not None
        and m.limit
        != limit_in_force(file, m.check, file.rules.check(m.check).reading(m.reading), m.done_at)
    )


CONFIGURATION = (
    Rule(
        "R11",
        "A check tells only about parts that were fitted before it was made.",
        Force.GATE,
        "what stands of a check; passing the gates",
        _tested_after_fitting,
        passing=ALL_CHECKPOINTS,
    ),
    Rule(
        "R12",
        "All counted runs of a campaign share one configuration fingerprint: parts, parameters, "
        "program, sensor settings, limits.",
        Force.ALWAYS,
        "counting a run",
        _one_fingerprint,
        full_process_only=False,
    ),
    Rule(
        "R13",
        "A changed fingerprint closes the campaign, and its count is not carried over.",
        Force.ALWAYS,
        "recording a configuration; fitting and removing parts",
        _change_closes,
        full_process_only=False,
        simplest_form="A restart rule that keeps the count is not read from the plan: the count "
        "always starts again, except for changes that the matrix calls kept after the burn-in.",
    ),
    Rule(
        "R14",
        "A recording whose device's clock was not compared within 24 hours is flagged; all times "
        "carry their offset from UTC.",
        Force.PRINTS,
        "beside the gates",
        _clocks_compared,
        passing=ALL_CHECKPOINTS,
    ),
    Rule(
        "R15",
        "A signature is later than every record it covers, and nobody verifies their own work.",
        Force.ALWAYS,
        "signing a gate",
        _signatures_sound,
    ),
    Rule(
        "R16",
        "A limit holds for readings made after it was set; earlier verdicts stay as they are.",
        Force.ALWAYS,
        "answering a reading; limits of runs are refused when edited after use",
        _limit_before_reading,
    ),
)
"""The rules of time and configuration."""
