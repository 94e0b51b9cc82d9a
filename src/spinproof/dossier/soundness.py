"""What must hold between the records before a dossier is issued from them."""

from collections import Counter
from collections.abc import Iterable

from spinproof.dossier.statements import attempts_of_claim
from spinproof.files.canonical import digest_of
from spinproof.model.errors import PackageError
from spinproof.model.handover import Attempt, Handover, RunRecord, Tally
from spinproof.model.run import Outcome
from spinproof.stats.demonstration import reliability_lower_bound

_LOOK = "Look the records up; a dossier is issued only when they agree."


def all_records(handover: Handover) -> tuple[RunRecord, ...]:
    """Give the records of all runs, the witnessed one last."""
    return handover.runs + ((handover.witness,) if handover.witness else ())


def tally_of(attempts: Iterable[Attempt]) -> Tally:
    """Count attempts by what became of them.

    Parameters
    ----------
    attempts : iterable of Attempt
        The attempts of a burn-in.

    Returns
    -------
    Tally
        Its parts add up to the whole.
    """
    attempts = tuple(attempts)
    kinds = Counter("void" if a.void else a.outcome for a in attempts)
    return Tally(
        attempts=len(attempts),
        counted=kinds[Outcome.COUNTED],
        void=kinds["void"],
        relevant_failures=kinds[Outcome.RELEVANT_FAILURE],
        invalid=kinds[Outcome.INVALID_OUTSIDE] + kinds[Outcome.INVALID_OPERATOR],
        aborted=kinds[Outcome.ABORTED],
    )


def refuse_unsound(handover: Handover) -> None:
    """Refuse records that contradict one another or leave something out.

    Parameters
    ----------
    handover : Handover
        The records.

    Raises
    ------
    PackageError
        If the tally does not add up, a claim does not follow from the attempts, an attempt lacks
        its record, a judgement is not the one that the attempt names, an outside cause lacks
        evidence or a second name, or a simulated run would pass as a real one.
    """
    faults = [
        *_faults_of_tally(handover),
        *_faults_of_claims(handover),
        *_faults_of_records(handover),
        *_faults_of_attempts(handover),
    ]
    if faults:
        more = f"; and {len(faults) - 3} more" if len(faults) > 3 else ""
        raise PackageError(
            f"the records do not agree: {'; '.join(faults[:3])}{more}",
            where=f"the dossier of {handover.head}",
            mend=_LOOK,
        )


def _faults_of_tally(handover: Handover) -> Iterable[str]:
    found = tally_of(handover.attempts)
    if found != handover.tally:
        yield f'the tally says "{handover.tally}", the attempts say "{found}"'


def _faults_of_claims(handover: Handover) -> Iterable[str]:
    for claim in handover.claims:
        if not attempts_of_claim(handover, claim):
            yield f"no attempts fit the claim of {claim.failures} failures in {claim.runs} runs"
            continue
        bound = reliability_lower_bound(claim.runs, claim.failures, claim.confidence)
        if abs(bound - claim.reliability) > 1e-6:
            yield (
                f"the claim of {claim.failures} failures in {claim.runs} runs says"
                f" {claim.reliability:.4f}, the bound is {bound:.4f}"
            )


def _faults_of_records(handover: Handover) -> Iterable[str]:
    records = all_records(handover)
    names = Counter(record.attempt.run for record in records)
    yield from (f"run {run} is there twice" for run, count in names.items() if count > 1)
    recorded = tuple(attempt for attempt in handover.attempts if attempt.recorded)
    if tuple(record.attempt for record in handover.runs) != recorded:
        yield "the attempts and the runs in full are not the same"
    for attempt in handover.attempts:
        if not attempt.recorded and attempt.outcome is not Outcome.ABORTED:
            yield f"run {attempt.run} is {attempt.outcome}, and nothing of it was recorded"
    for record in records:
        attempt, judgement = record.attempt, record.judgement
        if digest_of(judgement.to_document()) != attempt.judgement_sha256:
            yield f"the judgement of run {attempt.run} is not the one in the records"
        if judgement.run != attempt.run or judgement.trace_sha256 != attempt.trace_sha256:
            yield f"the judgement of run {attempt.run} is about another trace"
        if judgement.simulated and not handover.simulated:
            yield f"run {attempt.run} is simulated, the dossier does not say so"


def _faults_of_attempts(handover: Handover) -> Iterable[str]:
    held = {item.sha256 for item in handover.evidence}
    for attempt in (record.attempt for record in all_records(handover)):
        if attempt.outcome is Outcome.INVALID_OUTSIDE and not (
            attempt.evidence and attempt.second_name not in {None, attempt.decided_by}
        ):
            yield f"the outside cause of run {attempt.run} lacks evidence or a second name"
        if attempt.void and attempt.outcome is not Outcome.COUNTED:
            yield f"run {attempt.run} is void, and never counted"
        if set(attempt.evidence) - held:
            yield f"evidence of run {attempt.run} is not in the records"
