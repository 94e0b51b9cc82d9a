"""Sentences of a dossier, each made by a named rule from records and carrying their hashes.

No free text becomes a statement: what a person wrote prints as a remark, quoted, with its role.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from spinproof.dossier.numbers import (
    bound,
    bound_in_percent,
    counted_noun,
    day,
    margin_in_words,
)
from spinproof.dossier.second_look import JUDGED, second_look
from spinproof.files.canonical import digest_of
from spinproof.model.handover import Attempt, Claim, Handover, RunRecord, ScopeState
from spinproof.model.judgement import Verdict
from spinproof.model.metric_words import metric_words, printed_probability
from spinproof.model.recipe import RecipeSource
from spinproof.model.run import Outcome
from spinproof.stats.demonstration import reliability_lower_bound

NOT_SAID = (
    "how long the head will last, or how its seals, bearings and other parts will wear",
    "a mean time between failures",
    "recipes outside the envelope that was run, or one recipe that was run only a few times",
    "other supplies of water, nitrogen or mains than those that were recorded",
    "particles on wafers, or wafers that nobody inspected",
    "the lines of the scope that were declined, and any other head",
)
"""What a number of good runs does not say, whatever the number."""


@dataclass(frozen=True)
class Statement:
    """A sentence, the rule that made it, and the SHA-256 of each record that it rests on."""

    rule: str
    text: str
    evidence: tuple[str, ...]
    verdict: str | None = None
    """For a gate: passed or not passed."""


def scope_document(handover: Handover) -> list[dict[str, str | None]]:
    """Give the scope as the record that statements about it rest on."""
    return [
        {
            "consequence": line.consequence,
            "item": line.item,
            "state": line.state.value,
            "text": line.text,
            "unit": line.unit,
        }
        for line in handover.scope
    ]


def configurations_document(handover: Handover) -> list[dict[str, str]]:
    """Give the head's configurations as the record that statements about them rest on."""
    return [
        {"fingerprint": entry.fingerprint, "since": entry.since, "what": entry.what}
        for entry in handover.configurations
    ]


def make_statements(handover: Handover) -> tuple[Statement, ...]:
    """Give all statements that the records support, in the order of the document.

    Parameters
    ----------
    handover : Handover
        The records.

    Returns
    -------
    tuple of Statement
        At least what was ordered and the tally; the others as the records give cause.
    """
    rules: tuple[Callable[[Handover], Iterable[Statement]], ...] = (
        _simulated,
        _ordered,
        _exclusions,
        _other_heads,
        _without_warranty,
        _process,
        _burn_in_gate,
        _witness_gate,
        _tally,
        _claims,
        _customer_recipe,
        _second_look,
        _not_said,
        _configuration_changes,
        _not_counted,
        _no_conformity,
    )
    return tuple(statement for rule in rules for statement in rule(handover))


def _simulated(handover: Handover) -> Iterable[Statement]:
    if handover.simulated:
        text = "The runs of this dossier were made on a virtual head. No machine was tested."
        yield Statement("simulated", text, _judgements(handover.attempts))


def _ordered(handover: Handover) -> Iterable[Statement]:
    text = (
        f"Order {handover.order} covers work on head {handover.head} of machine"
        f" {handover.machine} ({handover.head_in_words}), under job {handover.job}."
    )
    yield Statement("ordered", text, _scope(handover))


def _exclusions(handover: Handover) -> Iterable[Statement]:
    for line in handover.exclusions:
        if line.unit not in handover.other_heads:
            text = f"{line.item}: {line.text} on {line.unit} was excluded by the customer."
            yield Statement("exclusion", f"{text} It was not done.", _scope(handover))


def _other_heads(handover: Handover) -> Iterable[Statement]:
    for head in handover.other_heads:
        lines = [line for line in handover.scope if line.unit == head]
        if lines and all(line.state is ScopeState.DECLINED for line in lines):
            text = (
                f"Head {head} was excluded by the customer; it was not refurbished, not tested"
                " and is shipped as received."
            )
        else:
            text = f"Head {head} is not the subject of this dossier, which claims nothing about it."
        yield Statement("other-head", text, _scope(handover))


def _without_warranty(handover: Handover) -> Iterable[Statement]:
    for line in handover.without_warranty:
        text = f"{line.item}: {line.text} on {line.unit} is supplied by the customer."
        yield Statement(
            "no-warranty", f"{text} The shop gives no warranty on it.", _scope(handover)
        )


def _process(handover: Handover) -> Iterable[Statement]:
    if handover.process_note is not None:
        yield Statement("process", handover.process_note, _scope(handover))


def _burn_in_gate(handover: Handover) -> Iterable[Statement]:
    tally, planned = handover.tally, len(handover.plan.runs)
    passed = tally.counted >= planned
    last = max((attempt.campaign for attempt in handover.attempts), default=1)
    text = (
        f"Burn-in: {tally.counted} runs counted in campaign {last},"
        f" {planned} were planned; {counted_noun(last, 'campaign')} in all."
    )
    evidence = (digest_of(handover.plan.to_document()), *_judgements(_counted(handover)))
    yield Statement("gate-burn-in", text, evidence, "passed" if passed else "not passed")


def _witness_gate(handover: Handover) -> Iterable[Statement]:
    record = handover.witness
    if record is None:
        return
    attempt = record.attempt
    text = (
        f"Source inspection: run {attempt.run} of recipe {attempt.recipe_name} on"
        f" {day(attempt.started_at)} with {counted_noun(attempt.wafer_count, 'wafer')}:"
        f" {attempt.outcome.value}; {limits_in_words(record)}{_nearest(record)}."
    )
    passed = attempt.outcome is Outcome.COUNTED
    yield Statement(
        "gate-witness", text, _records((attempt,)), "passed" if passed else "not passed"
    )


def _nearest(record: RunRecord) -> str:
    """Give the passed limit that was met with the least probability, with margin and rule."""
    passed = [m for m in record.judgement.metrics if m.verdict is Verdict.PASS and m.limit]
    told = [
        (m.conformance, m) for m in passed if m.conformance is not None and m.margin is not None
    ]
    if not told:
        return ""
    chance, metric = min(told, key=lambda each: each[0])
    where = f" in step {metric.step}" if metric.step else ""
    return (
        f"; of the passed ones {metric_words(metric.name)}{where} lies nearest,"
        f" {margin_in_words(metric)}, conforming with probability {printed_probability(chance)}"
        f" (rule {metric.rule})"
    )


def limits_in_words(record: RunRecord) -> str:
    """Give how many limits of a run were passed, failed, left undecided or not measured."""
    verdicts = [m.verdict for m in record.judgement.metrics if m.verdict is not None]
    if not verdicts:
        return "no limit was set"
    words = {Verdict.FAIL: "failed"}
    others = [
        f", {verdicts.count(verdict)} {words.get(verdict, verdict.value)}"
        for verdict in Verdict
        if verdict in verdicts and verdict is not Verdict.PASS
    ]
    passed = verdicts.count(Verdict.PASS)
    return f"{passed} of {counted_noun(len(verdicts), 'limit')} passed{''.join(others)}"


def _tally(handover: Handover) -> Iterable[Statement]:
    text = str(handover.tally)
    text = f"{text[0].upper()}{text[1:]}. Each attempt is listed with its outcome and its reasons."
    yield Statement("tally", text, _judgements(handover.attempts))


def _claims(handover: Handover) -> Iterable[Statement]:
    for claim in handover.claims:
        attempts = attempts_of_claim(handover, claim)
        campaigns = sorted({attempt.campaign for attempt in attempts})
        over = f"campaign {campaigns[0]}" if len(campaigns) == 1 else "all campaigns together"
        text = f"In {over}: {claim_in_words(claim)}"
        yield Statement("claim", text, _judgements(attempts))


def claim_in_words(claim: Claim) -> str:
    """Give a claim as a sentence that holds for whoever doubts it.

    Parameters
    ----------
    claim : Claim
        Runs, failures, confidence and bound.

    Returns
    -------
    str
        One or two sentences; the bound has four digits.
    """
    good = claim.runs - claim.failures
    failed = {0: "none failed", 1: "1 failed"}.get(claim.failures, f"{claim.failures} failed")
    return (
        f"{good} of {claim.runs} runs were good, {failed}. At {100 * claim.confidence:g} %"
        " confidence this supports a probability of at least"
        f" {bound_in_percent(claim.reliability)} that a further run is good, if it is made with"
        " the same plan, configuration and supplies"
        f" (one-sided exact lower bound by Clopper and Pearson: {bound(claim.reliability)})."
    )


def _customer_recipe(handover: Handover) -> Iterable[Statement]:
    counted = {attempt.run for attempt in _counted(handover)}
    own = [
        record.attempt
        for record in handover.runs
        if record.attempt.run in counted and record.recipe.source is RecipeSource.CUSTOMER
    ]
    if own:
        low = reliability_lower_bound(len(own), 0, handover.plan.confidence)
        text = (
            f"Of the counted runs, {len(own)} ran a recipe of the customer. For these alone the"
            f" bound is {bound(low)}: few runs of one recipe say little about that recipe."
        )
        yield Statement("customer-recipe", text, _judgements(own))


def _second_look(handover: Handover) -> Iterable[Statement]:
    if handover.claims:
        judged = _judgements(a for a in handover.attempts if a.outcome in JUDGED)
        for rule, text in second_look(handover.attempts, handover.plan.confidence):
            yield Statement(rule, text, judged)


def _not_said(handover: Handover) -> Iterable[Statement]:
    if handover.claims:
        text = f"These numbers do not say: {'; '.join(NOT_SAID)}."
        yield Statement("not-said", text, (digest_of(handover.plan.to_document()),))


def _configuration_changes(handover: Handover) -> Iterable[Statement]:
    for before, after in zip(handover.configurations, handover.configurations[1:], strict=False):
        text = (
            f"On {day(after.since)} the configuration changed from {before.fingerprint[:12]} to"
            f" {after.fingerprint[:12]}."
        )
        since = datetime.fromisoformat(after.since)
        void = tuple(
            attempt
            for attempt in handover.attempts
            if attempt.void and datetime.fromisoformat(attempt.started_at) < since
        )
        if void:
            text += (
                f" The count began anew; {counted_noun(len(void), 'run')} that had counted"
                " before then became void."
            )
        yield Statement("configuration", text, (_configurations(handover), *_judgements(void)))


def _not_counted(handover: Handover) -> Iterable[Statement]:
    for attempt in handover.attempts:
        if attempt.outcome is not Outcome.COUNTED:
            same = [a.number for a in handover.attempts if a.campaign == attempt.campaign]
            closed = same[-1] == attempt.number and attempt is not handover.attempts[-1]
            yield _why_not_counted(attempt, closed_campaign=closed)


def _why_not_counted(attempt: Attempt, *, closed_campaign: bool) -> Statement:
    text = f"Attempt {attempt.number} (run {attempt.run}): {attempt.outcome.value}."
    if closed_campaign:
        text += f" Campaign {attempt.campaign} was closed after it."
    if attempt.outcome is Outcome.INVALID_OUTSIDE:
        text += (
            f" Classified by {attempt.decided_by}, confirmed by {attempt.second_name}, on"
            f" {counted_noun(len(attempt.evidence), 'piece')} of evidence."
        )
    elif attempt.decided_by != "judge":
        text += f" Classified by {attempt.decided_by}."
    return Statement(f"not-counted-{attempt.number}", text, _records((attempt,)))


def _no_conformity(handover: Handover) -> Iterable[Statement]:
    text = (
        "Checks were made with reference to the sources that stand beside each limit; no"
        " conformity with a standard is claimed."
    )
    limits = dict.fromkeys(record.judgement.limits_sha256 for record in handover.runs)
    yield Statement("no-conformity", text, tuple(limits))


def _counted(handover: Handover) -> tuple[Attempt, ...]:
    return tuple(
        attempt
        for attempt in handover.attempts
        if attempt.outcome is Outcome.COUNTED and not attempt.void
    )


def attempts_of_claim(handover: Handover, claim: Claim) -> tuple[Attempt, ...]:
    """Give the attempts that a claim is about: those of the last campaign, or all of them.

    Parameters
    ----------
    handover : Handover
        The records.
    claim : Claim
        The claim.

    Returns
    -------
    tuple of Attempt
        Runs that counted and relevant failures; none when no choice fits the claim's numbers.
    """
    judged = tuple(attempt for attempt in handover.attempts if attempt.outcome in JUDGED)
    last = max((attempt.campaign for attempt in judged), default=1)
    for attempts in (tuple(a for a in judged if a.campaign == last), judged):
        failures = sum(a.outcome is Outcome.RELEVANT_FAILURE for a in attempts)
        if (len(attempts), failures) == (claim.runs, claim.failures):
            return attempts
    return ()


def _judgements(attempts: Iterable[Attempt]) -> tuple[str, ...]:
    return tuple(attempt.judgement_sha256 for attempt in attempts if attempt.recorded)


def _records(attempts: Iterable[Attempt]) -> tuple[str, ...]:
    return tuple(
        sha256
        for attempt in attempts
        for sha256 in (attempt.trace_sha256, attempt.judgement_sha256, *attempt.evidence)
        if sha256
    )


def _scope(handover: Handover) -> tuple[str, ...]:
    return (digest_of(scope_document(handover)),)


def _configurations(handover: Handover) -> str:
    return digest_of(configurations_document(handover))
