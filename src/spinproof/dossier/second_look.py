"""What a careful reader asks of a claim: restarts, priors, likeness of runs, weak heads, growth."""

from collections.abc import Iterable, Sequence

from spinproof.dossier.numbers import bound, bound_in_percent
from spinproof.dossier.sentences import counted, sentence
from spinproof.model.handover import Attempt
from spinproof.model.run import Outcome
from spinproof.stats.growth import Growth, fit_growth, trend_tests
from spinproof.stats.restarts import (
    bound_after_attempts,
    clean_bound,
    effective_runs,
    runs_for_attempts,
)
from spinproof.stats.second_opinion import JEFFREYS, chance_of_further_clean_runs, credible_bound

LIKENESS = 0.02
"""Correlation between runs that is shown as an example; one burn-in cannot estimate it. [1]"""
WEAK = 0.99
"""Reliability of the weak head that is shown as an example. [1]"""
ROUND = 0.95
"""The reliability that a customer commonly asks to be shown. [1]"""

RULES = ("claim-restarted", "claim-second-opinion", "claim-likeness", "claim-growth")
"""Names of the sentences, in their order."""
JUDGED = {Outcome.COUNTED, Outcome.RELEVANT_FAILURE}


def second_look(attempts: Sequence[Attempt], confidence: float) -> tuple[tuple[str, str], ...]:
    """Say what stands beside the claims of a burn-in, so that nobody reads too much into them.

    Parameters
    ----------
    attempts : sequence of Attempt
        All attempts of the burn-in, in order.
    confidence : float
        Confidence of its claims. [1]

    Returns
    -------
    tuple of tuple of str
        Names of rules and their sentences; none without a judged run.
    """
    judged = [attempt for attempt in attempts if attempt.outcome in JUDGED]
    if not judged:
        return ()
    last = judged[-1].campaign
    final = [attempt for attempt in judged if attempt.campaign == last]
    failures = sum(attempt.outcome is Outcome.RELEVANT_FAILURE for attempt in final)
    begun = len({attempt.campaign for attempt in judged})
    return (
        *_restarts(len(final), failures, begun, confidence),
        *_second_opinion(len(final), failures, confidence),
        *_likeness(len(final), failures, confidence),
        *_growth(judged),
    )


def _restarts(runs: int, failures: int, begun: int, confidence: float) -> Iterable[tuple[str, str]]:
    if failures or begun < 2:
        return
    low = bound_after_attempts(runs, confidence, begun)
    needed = runs_for_attempts(ROUND, confidence, begun)
    yield (
        "claim-restarted",
        sentence(
            "claim-restarted",
            begun=begun,
            runs=counted(runs, "clean-run"),
            percent=bound_in_percent(low),
            bound=bound(low),
            needed=needed,
            asked=bound_in_percent(ROUND),
        ),
    )


def _second_opinion(runs: int, failures: int, confidence: float) -> Iterable[tuple[str, str]]:
    low = credible_bound(runs, failures, confidence)
    again = chance_of_further_clean_runs(runs, failures, runs)
    yield (
        "claim-second-opinion",
        sentence(
            "claim-second-opinion",
            good=f"{JEFFREYS.good:g}",
            bad=f"{JEFFREYS.bad:g}",
            name=JEFFREYS.name,
            percent=bound_in_percent(low),
            confidence=f"{100 * confidence:g}",
            again=f"{100 * again:.0f}",
        ),
    )


def _likeness(runs: int, failures: int, confidence: float) -> Iterable[tuple[str, str]]:
    if failures:
        return
    alike = clean_bound(effective_runs(runs, LIKENESS), confidence)
    yield (
        "claim-likeness",
        sentence(
            "claim-likeness",
            likeness=f"{LIKENESS:g}",
            bound=bound(alike),
            weak=f"{1 / (1 - WEAK):.0f}",
            runs=counted(runs, "run"),
            chance=f"{100 * WEAK**runs:.0f}",
        ),
    )


def _growth(judged: Sequence[Attempt]) -> Iterable[tuple[str, str]]:
    times = [
        float(place)
        for place, attempt in enumerate(judged, start=1)
        if attempt.outcome is Outcome.RELEVANT_FAILURE
    ]
    if len(times) < 2:
        return
    growth = fit_growth(times, float(len(judged)))
    yield "claim-growth", _growth_in_words(growth, times)


def _growth_in_words(growth: Growth, times: Sequence[float]) -> str:
    chance = trend_tests(times, growth.end)[0].chance
    trend = (
        sentence("trend-unknown") if chance is None else sentence("trend", chance=f"{chance:.3f}")
    )
    return sentence(
        "claim-growth",
        failures=growth.failures,
        runs=f"{growth.end:g}",
        mean=f"{growth.mean_between:.1f}",
        low=f"{growth.low:.1f}",
        high=f"{growth.high:.1f}",
        confidence=f"{100 * growth.confidence:g}",
        exponent=f"{growth.shape:.2f}",
        trend=trend,
    )
