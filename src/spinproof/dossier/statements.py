"""Sentences of a dossier, each made by a named rule from records and carrying their hashes.

The rules are here, their wording is in ``statements.en.toml``. No free text becomes a statement:
what a person wrote prints as a remark, quoted, with its role.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime

from spinproof.dossier.numbers import (
    bound,
    bound_in_percent,
    day,
    margin_in_words,
)
from spinproof.dossier.second_look import JUDGED, second_look
from spinproof.dossier.sentences import counted, not_said, sentence, word
from spinproof.files.canonical import digest_of
from spinproof.model.handover import Attempt, Claim, Handover, RunRecord, ScopeState
from spinproof.model.judgement import Verdict
from spinproof.model.metric_words import metric_words, printed_probability
from spinproof.model.recipe import RecipeSource
from spinproof.model.run import Outcome
from spinproof.stats.demonstration import reliability_lower_bound


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
        yield Statement("simulated", sentence("simulated"), _judgements(handover.attempts))


def _ordered(handover: Handover) -> Iterable[Statement]:
    text = sentence(
        "ordered",
        order=handover.order,
        head=handover.head,
        machine=handover.machine,
        head_in_words=handover.head_in_words,
        job=handover.job,
    )
    yield Statement("ordered", text, _scope(handover))


def _exclusions(handover: Handover) -> Iterable[Statement]:
    for line in handover.exclusions:
        if line.unit not in handover.other_heads:
            text = sentence("exclusion", item=line.item, text=line.text, unit=line.unit)
            yield Statement("exclusion", text, _scope(handover))


def _other_heads(handover: Handover) -> Iterable[Statement]:
    for head in handover.other_heads:
        lines = [line for line in handover.scope if line.unit == head]
        excluded = lines and all(line.state is ScopeState.DECLINED for line in lines)
        text = sentence("other-head-excluded" if excluded else "other-head", head=head)
        yield Statement("other-head", text, _scope(handover))


def _without_warranty(handover: Handover) -> Iterable[Statement]:
    for line in handover.without_warranty:
        text = sentence("no-warranty", item=line.item, text=line.text, unit=line.unit)
        yield Statement("no-warranty", text, _scope(handover))


def _process(handover: Handover) -> Iterable[Statement]:
    if handover.process_note is not None:
        yield Statement("process", handover.process_note, _scope(handover))


def _burn_in_gate(handover: Handover) -> Iterable[Statement]:
    tally, planned = handover.tally, len(handover.plan.runs)
    passed = tally.counted >= planned
    last = max((attempt.campaign for attempt in handover.attempts), default=1)
    text = sentence(
        "gate-burn-in",
        counted=tally.counted,
        campaign=last,
        planned=planned,
        campaigns=counted(last, "campaign"),
    )
    evidence = (digest_of(handover.plan.to_document()), *_judgements(_counted(handover)))
    yield Statement("gate-burn-in", text, evidence, "passed" if passed else "not passed")


def _witness_gate(handover: Handover) -> Iterable[Statement]:
    record = handover.witness
    if record is None:
        return
    attempt = record.attempt
    text = sentence(
        "gate-witness",
        run=attempt.run,
        recipe=attempt.recipe_name,
        day=day(attempt.started_at),
        wafers=counted(attempt.wafer_count, "wafer"),
        outcome=attempt.outcome.value,
        limits=limits_in_words(record),
        nearest=_nearest(record),
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
    return sentence(
        "nearest",
        metric=metric_words(metric.name),
        step=sentence("in-step", step=metric.step) if metric.step else "",
        margin=margin_in_words(metric),
        probability=printed_probability(chance),
        rule=metric.rule,
    )


def limits_in_words(record: RunRecord) -> str:
    """Give how many limits of a run were passed, failed, left undecided or not measured."""
    verdicts = [m.verdict for m in record.judgement.metrics if m.verdict is not None]
    if not verdicts:
        return sentence("no-limit")
    others = [
        sentence(
            "limits-other",
            count=verdicts.count(verdict),
            verdict=word(verdict.name.lower(), verdict.value),
        )
        for verdict in Verdict
        if verdict in verdicts and verdict is not Verdict.PASS
    ]
    passed = verdicts.count(Verdict.PASS)
    limits = counted(len(verdicts), "limit")
    return sentence("limits", passed=passed, limits=limits, others="".join(others))


def _tally(handover: Handover) -> Iterable[Statement]:
    text = str(handover.tally)
    text = sentence("tally", tally=f"{text[0].upper()}{text[1:]}")
    yield Statement("tally", text, _judgements(handover.attempts))


def _claims(handover: Handover) -> Iterable[Statement]:
    for claim in handover.claims:
        attempts = attempts_of_claim(handover, claim)
        campaigns = sorted({attempt.campaign for attempt in attempts})
        if len(campaigns) == 1:
            over = sentence("claim-one-campaign", campaign=campaigns[0])
        else:
            over = sentence("claim-all-campaigns")
        text = sentence("claim", over=over, claim=claim_in_words(claim))
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
    return sentence(
        "claim-in-words",
        good=claim.runs - claim.failures,
        runs=claim.runs,
        failed=counted(claim.failures, "failed") if claim.failures else word("none-failed"),
        confidence=f"{100 * claim.confidence:g}",
        percent=bound_in_percent(claim.reliability),
        bound=bound(claim.reliability),
    )


def _customer_recipe(handover: Handover) -> Iterable[Statement]:
    good = {attempt.run for attempt in _counted(handover)}
    own = [
        record.attempt
        for record in handover.runs
        if record.attempt.run in good and record.recipe.source is RecipeSource.CUSTOMER
    ]
    if own:
        low = reliability_lower_bound(len(own), 0, handover.plan.confidence)
        text = sentence("customer-recipe", count=len(own), bound=bound(low))
        yield Statement("customer-recipe", text, _judgements(own))


def _second_look(handover: Handover) -> Iterable[Statement]:
    if handover.claims:
        judged = _judgements(a for a in handover.attempts if a.outcome in JUDGED)
        for rule, text in second_look(handover.attempts, handover.plan.confidence):
            yield Statement(rule, text, judged)


def _not_said(handover: Handover) -> Iterable[Statement]:
    if handover.claims:
        text = sentence("not-said", list="; ".join(not_said()))
        yield Statement("not-said", text, (digest_of(handover.plan.to_document()),))


def _configuration_changes(handover: Handover) -> Iterable[Statement]:
    for before, after in zip(handover.configurations, handover.configurations[1:], strict=False):
        text = sentence(
            "configuration",
            day=day(after.since),
            before=before.fingerprint[:12],
            after=after.fingerprint[:12],
        )
        since = datetime.fromisoformat(after.since)
        void = tuple(
            attempt
            for attempt in handover.attempts
            if attempt.void and datetime.fromisoformat(attempt.started_at) < since
        )
        if void:
            text += f" {sentence('configuration-void', runs=counted(len(void), 'run'))}"
        yield Statement("configuration", text, (_configurations(handover), *_judgements(void)))


def _not_counted(handover: Handover) -> Iterable[Statement]:
    for attempt in handover.attempts:
        if attempt.outcome is not Outcome.COUNTED:
            same = [a.number for a in handover.attempts if a.campaign == attempt.campaign]
            closed = same[-1] == attempt.number and attempt is not handover.attempts[-1]
            yield _why_not_counted(attempt, closed_campaign=closed)


def _why_not_counted(attempt: Attempt, *, closed_campaign: bool) -> Statement:
    outcome = attempt.outcome.value
    said = [sentence("not-counted", attempt=attempt.number, run=attempt.run, outcome=outcome)]
    if closed_campaign:
        said.append(sentence("campaign-closed", campaign=attempt.campaign))
    if attempt.outcome is Outcome.INVALID_OUTSIDE:
        pieces = counted(len(attempt.evidence), "piece")
        said.append(
            sentence(
                "classified-outside",
                by=attempt.decided_by,
                second=attempt.second_name,
                pieces=pieces,
            )
        )
    elif attempt.decided_by != "judge":
        said.append(sentence("classified", by=attempt.decided_by))
    return Statement(f"not-counted-{attempt.number}", " ".join(said), _records((attempt,)))


def _no_conformity(handover: Handover) -> Iterable[Statement]:
    limits = dict.fromkeys(record.judgement.limits_sha256 for record in handover.runs)
    yield Statement("no-conformity", sentence("no-conformity"), tuple(limits))


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
