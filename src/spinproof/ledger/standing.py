"""What still stands: checks, gates, and the place of a head among its checkpoints.

Nothing here is stored. A check stands while nothing that it depends on was changed since; a gate
stands while the records that its signature covers are the ones in force.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from spinproof.files.canonical import digest_of
from spinproof.ledger import rules
from spinproof.ledger.answers import answers_of as answers_of
from spinproof.ledger.answers import doubt_about as doubt_about
from spinproof.ledger.answers import invalidating, standing_now
from spinproof.ledger.answers import limit_in_force as limit_in_force
from spinproof.ledger.entries import Closing
from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.shop_entries import ChangeEntry, CheckEntry, Meaning, SignatureEntry
from spinproof.ledger.states import WaiverState
from spinproof.model.attestation import Decontamination, Direction
from spinproof.model.check import Checkpoint, CheckTemplate
from spinproof.model.matter import MatterKind
from spinproof.model.retest import starts_again
from spinproof.model.run import Outcome, Purpose


@dataclass(frozen=True)
class CheckStanding:
    """Whether a check is passed and still stands, and if not, why."""

    check: str
    result: CheckEntry | None
    """Its last result, whether it stands or not."""
    reasons: tuple[str, ...]
    """Why it does not stand; empty when it does."""
    invalidated_by: ChangeEntry | None = None
    """The change that made its last pass worthless."""
    suspect: bool = False
    """Whether it fell because an instrument was later found out of tolerance."""
    indication_only: bool = False
    """Whether it fell because an instrument's word supports no verdict."""

    @property
    def stands(self) -> bool:
        """Whether a gate may rest on it."""
        return not self.reasons


def standing_of(file: HeadFile, check: str) -> CheckStanding:
    """Say whether a check is passed and still stands.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    check : str
        Id of the check.

    Returns
    -------
    CheckStanding
        With the reasons if it does not stand.
    """
    made = [c for c in file.checks if c.check == check and c.unit == file.unit.designation]
    if not made:
        return CheckStanding(check, None, (f"{check} has not been made.",))
    last = made[-1]
    if not last.passed:
        reasons = tuple(f"{check} is not passed: {reason}" for reason in last.reasons)
        return CheckStanding(check, last, reasons)
    used = [m for m in file.measurements if m.id in last.measurements]
    tested_at = min(m.done_at for m in used)
    change = invalidating(file, check, tested_at)
    if change is not None:
        text = f"{check} was passed before the last change: {change.what} It must be repeated."
        return CheckStanding(check, last, (text,), change)
    doubts = tuple(f"{doubt}." for m in used if (doubt := doubt_about(file, m)) is not None)
    worthless = tuple(
        f"{check}, {m.reading}: {standing}."
        for m in used
        if (standing := standing_now(file, m)) is not None
        and m.limit is not None
        and not standing.supports_a_verdict
    )
    return CheckStanding(
        check,
        last,
        doubts or worthless,
        suspect=bool(doubts),
        indication_only=bool(worthless) and not doubts,
    )


def is_applicable(file: HeadFile, check: CheckTemplate) -> bool:
    """Tell whether a head has anything that a check could be made on.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    check : CheckTemplate
        The check.

    Returns
    -------
    bool
        False when every position that it depends on is empty for a stated reason.
    """
    return not check.depends_on or any(file.vacancy(code) is None for code in check.depends_on)


def required_checks(file: HeadFile, checkpoint: Checkpoint) -> tuple[CheckTemplate, ...]:
    """Give the checks that a head must pass at a checkpoint, waived ones left out.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    checkpoint : Checkpoint
        The checkpoint.

    Returns
    -------
    tuple of CheckTemplate
        Empty for checkpoints without a sheet.
    """
    sheet = None if file.rules is None else file.rules.sheet(checkpoint)
    if sheet is None:
        return ()
    return tuple(
        check
        for check in sheet.checks
        if is_applicable(file, check) and check.id not in file.waivers
    )


def passed_checks(file: HeadFile) -> frozenset[str]:
    """Give the ids of all checks that are passed and stand, and of those that are waived."""
    if file.rules is None:
        return frozenset()
    all_checks = [check for sheet in file.rules.sheets for check in sheet.checks]
    return frozenset(
        check.id
        for check in all_checks
        if check.id in file.waivers
        or not is_applicable(file, check)
        or standing_of(file, check.id).stands
    )


def burn_in_faults(file: HeadFile) -> tuple[str, ...]:
    """Say what is missing from the burn-in.

    Parameters
    ----------
    file : HeadFile
        Records of the head.

    Returns
    -------
    tuple of str
        Sentences; empty when the last campaign is complete, unbroken and of the present build.
    """
    if not file.campaigns or file.plan is None:
        return ("No campaign of the burn-in was opened.",)
    last = file.campaigns[-1]
    where = f"Campaign {last.number}"
    if last.closing not in {None, Closing.COMPLETE}:
        return (f"{where} was closed before it was complete: {last.closed_because}",)
    if not is_same_build(file, last.configuration, last.opened_at):
        return (f"{where} was run with another configuration than the present one.",)
    runs = [run for run in file.runs if run.campaign == last.number]
    burn_in = [run for run in runs if run.purpose is Purpose.BURN_IN]
    failed = [run.name for run in burn_in if run.outcome is Outcome.RELEVANT_FAILURE]
    if failed:
        return (f"Run {failed[0]} is a relevant failure: the count starts again after one.",)
    counted = rules.counted_by_plan(burn_in)
    if rules.next_planned(file.plan, counted) is not None:
        return (f"{len(counted)} of {len(file.plan.runs)} planned runs have counted.",)
    return ()


def covered_by(file: HeadFile, checkpoint: Checkpoint) -> Mapping[str, str]:
    """Give the records that a signature of a gate covers, as they are in force now.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    checkpoint : Checkpoint
        The gate.

    Returns
    -------
    mapping of str to str
        Which record, by what it is about. A gate stands while this is what it was when it was
        signed.
    """
    covered: dict[str, str] = {}
    sheet = None if file.rules is None else file.rules.sheet(checkpoint)
    for check in sheet.checks if sheet else ():
        standing = standing_of(file, check.id)
        if standing.stands and standing.result is not None:
            covered[check.id] = f"result {standing.result.id}"
        elif check.id in file.waivers:
            covered[check.id] = f"waiver {file.waivers[check.id]}"
        elif not is_applicable(file, check):
            covered[check.id] = "not applicable"
        else:
            covered[check.id] = "missing"
    if checkpoint is Checkpoint.INCOMING:
        incoming = decontamination(file, Direction.INCOMING)
        covered["decontamination"] = "missing" if incoming is None else str(incoming[0])
    if checkpoint is Checkpoint.FINAL_TEST:
        counted = sorted(
            run.name
            for run in file.runs
            if run.outcome is Outcome.COUNTED and run.purpose is Purpose.BURN_IN and not run.void
        )
        covered["configuration"] = file.campaigns[-1].configuration if file.campaigns else "missing"
        covered["counted runs"] = digest_of(counted) if not burn_in_faults(file) else "missing"
    if checkpoint is Checkpoint.SOURCE_INSPECTION:
        covered["witnessed run"] = witnessed_run(file) or "missing"
    if checkpoint is Checkpoint.RELEASE:
        for earlier in list(Checkpoint)[: checkpoint.number - 1]:
            signed = gate_signature(file, earlier)
            covered[earlier] = "missing" if signed is None else f"signature {signed.id}"
    return covered


def covered_times(file: HeadFile, checkpoint: Checkpoint) -> Mapping[str, str]:
    """Give when the records that a gate's signature covers were made.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    checkpoint : Checkpoint
        The gate.

    Returns
    -------
    mapping of str to str
        Instant by what the record is about; only of records that are there.
    """
    covered = covered_by(file, checkpoint)
    results = {f"result {check.id}": check.done_at for check in file.checks}
    waived = {
        f"waiver {matter.name}": matter.steps[-1].done_at
        for matter in file.of_kind(MatterKind.WAIVER)
        if matter.state is WaiverState.IN_FORCE
    }
    signed = {f"signature {signature.id}": signature.done_at for signature in file.signatures}
    stated = {str(entry.id): entry.done_at for entry, _ in file.stated(Decontamination)}
    runs = {run.name: run.finished_at for run in file.runs if run.finished_at is not None}
    if checkpoint is Checkpoint.FINAL_TEST and file.campaigns:
        last = file.campaigns[-1].number
        ended = [at for run in file.runs if run.campaign == last and (at := run.finished_at)]
        runs |= {covered["counted runs"]: max(ended)} if ended else {}
    known = {**results, **waived, **signed, **stated, **runs}
    return {what: known[which] for what, which in covered.items() if which in known}


def witnessed_run(file: HeadFile) -> str | None:
    """Give the name of the last witnessed run that counted with the present configuration."""
    found = [
        run.name
        for run in file.runs
        if run.purpose is Purpose.WITNESS
        and run.outcome is Outcome.COUNTED
        and is_same_build(file, run.configuration, run.started_at)
    ]
    return found[-1] if found else None


def decontamination(file: HeadFile, direction: Direction) -> tuple[int, Decontamination] | None:
    """Give the latest decontamination record of the head for a direction, with its number."""
    found = [
        (entry.id, fact)
        for entry, fact in file.stated(Decontamination)
        if fact.direction is direction and entry.unit in {None, *file.unit_names}
    ]
    return found[-1] if found else None


def covers_hash(covered: Mapping[str, str]) -> str:
    """Give the hash that a signature holds of what it covers."""
    return digest_of(dict(covered))


def gate_signature(file: HeadFile, checkpoint: Checkpoint) -> SignatureEntry | None:
    """Give the signature by which a gate is passed and stands, or None.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    checkpoint : Checkpoint
        The gate.

    Returns
    -------
    SignatureEntry or None
        The one that verified it, when what it covers is still in force.
    """
    covers = covers_hash(covered_by(file, checkpoint))
    verified = [
        signature
        for signature in file.signatures
        if signature.checkpoint is checkpoint and signature.meaning is Meaning.VERIFIED
    ]
    return verified[-1] if verified and verified[-1].covers == covers else None


def is_settled(file: HeadFile, checkpoint: Checkpoint) -> bool:
    """Tell whether a gate is passed and stands, or is waived."""
    return gate_signature(file, checkpoint) is not None or checkpoint.value in file.waivers


def present_checkpoint(file: HeadFile) -> Checkpoint | None:
    """Give the first checkpoint that is not passed; None when all are."""
    return next((point for point in Checkpoint if not is_settled(file, point)), None)


def is_same_build(file: HeadFile, fingerprint: str | None, since: str) -> bool:
    """Tell whether a head is still what it was, as far as its count is concerned.

    Parameters
    ----------
    file : HeadFile
        Records of the head.
    fingerprint : str or None
        The configuration that it had.
    since : str
        From when on it had it.

    Returns
    -------
    bool
        True also when only such things were changed since that keep the count by the matrix.
    """
    if fingerprint == file.fingerprint:
        return True
    after = [r for c, r in zip(file.changes, file.retests, strict=False) if c.done_at >= since]
    return bool(after) and not any(starts_again(retest.count) for retest in after)
