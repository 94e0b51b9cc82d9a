"""What the runs of a head support, what stands beside it, and what they do not say."""

from dataclasses import dataclass

from spinproof.dossier.second_look import second_look
from spinproof.dossier.sentences import not_said
from spinproof.dossier.statements import claim_in_words
from spinproof.ledger.ledger import Ledger
from spinproof.model.handover import Attempt, Claim
from spinproof.model.run import Outcome, Purpose
from spinproof.stats.demonstration import reliability_lower_bound

CONFIDENCE = 0.95


@dataclass(frozen=True)
class ClaimsInWords:
    """Sentences about the burn-in of a head, as its dossier would print them."""

    claims: tuple[str, ...]
    """What the runs support; none before one of them counted or failed."""
    beside: tuple[str, ...]
    """What a careful reader asks of it."""
    not_said: tuple[str, ...]
    """What no number of runs says."""


def claims_of_head(ledger: Ledger, head: str) -> ClaimsInWords:
    """Say what the burn-in of a head supports so far.

    Raises
    ------
    RecordError
        If there is no such head.
    """
    with ledger.reading() as reading:
        attempts = reading.attempts(reading.unit(head).designation)
    return claims_in_words(tuple(a for a in attempts if a.purpose is Purpose.BURN_IN))


def claims_in_words(attempts: tuple[Attempt, ...]) -> ClaimsInWords:
    """Say what the attempts of a burn-in support."""
    claims = [claim for claim in (claims_of(attempts) if attempts else ()) if claim.runs]
    return ClaimsInWords(
        claims=tuple(f"{claim.text}: {claim_in_words(claim)}" for claim in claims),
        beside=tuple(text for _, text in second_look(attempts, CONFIDENCE)),
        not_said=not_said() if claims else (),
    )


def claims_of(attempts: tuple[Attempt, ...]) -> tuple[Claim, ...]:
    """Give what the last campaign proves, and beside it what all judged runs prove together."""
    last = max(attempt.campaign for attempt in attempts)
    final = [attempt for attempt in attempts if attempt.campaign == last]
    claims = [_claim(f"campaign {last}", final)]
    if last > min(attempt.campaign for attempt in attempts):
        claims.append(_claim("all campaigns pooled, failures included", attempts))
    return tuple(claims)


def _claim(over: str, attempts: list[Attempt] | tuple[Attempt, ...]) -> Claim:
    outcomes = [attempt.outcome for attempt in attempts]
    failures = outcomes.count(Outcome.RELEVANT_FAILURE)
    runs = outcomes.count(Outcome.COUNTED) + failures
    reliability = reliability_lower_bound(runs, failures, CONFIDENCE) if runs else 0.0
    return Claim(runs, failures, CONFIDENCE, reliability, over)
