"""What a careful reader asks of a claim: restarts, priors, likeness of runs, weak heads, growth."""

from collections.abc import Iterable, Sequence

from spinproof.dossier.numbers import bound, bound_in_percent, counted_noun
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
        f"The count was begun {begun} times. A count that is begun anew until it passes will pass"
        f" one day: over {begun} attempts together, {counted_noun(runs, 'clean run')} support"
        f" {bound_in_percent(low)} ({bound(low)}) if the change between them did not matter;"
        f" {needed} clean runs would support {bound_in_percent(ROUND)}.",
    )


def _second_opinion(runs: int, failures: int, confidence: float) -> Iterable[tuple[str, str]]:
    low = credible_bound(runs, failures, confidence)
    again = chance_of_further_clean_runs(runs, failures, runs)
    yield (
        "claim-second-opinion",
        f"A second opinion by Bayes' rule, from the prior beta({JEFFREYS.good:g}, {JEFFREYS.bad:g})"
        f" of {JEFFREYS.name}, which knows nothing of this head: the probability of a good run lies"
        f" above {bound_in_percent(low)} with probability {100 * confidence:g} %; as many runs"
        f" again are all good with probability {100 * again:.0f} %. The claim itself rests on no"
        " prior.",
    )


def _likeness(runs: int, failures: int, confidence: float) -> Iterable[tuple[str, str]]:
    if failures:
        return
    alike = clean_bound(effective_runs(runs, LIKENESS), confidence)
    yield (
        "claim-likeness",
        "The bound takes runs for independent, which no single burn-in can test: if any two runs"
        f" resembled one another with a correlation of {LIKENESS:g}, it would be {bound(alike)}."
        f" A weak head passes too: one that fails one run in {1 / (1 - WEAK):.0f} comes through"
        f" {counted_noun(runs, 'run')} with probability {100 * WEAK**runs:.0f} %. A burn-in finds"
        " gross and early faults.",
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
        "too few failures to tell a trend from chance"
        if chance is None
        else f"Laplace's test gives such a sign of growth a chance of {chance:.3f} without any"
    )
    return (
        f"{growth.failures} relevant failures in {growth.end:g} judged runs of all campaigns:"
        " fitted by a power law over runs (Crow, AMSAA), the mean number of runs between failures"
        f" is {growth.mean_between:.1f} at the end, {growth.low:.1f} to {growth.high:.1f} at"
        f" {100 * growth.confidence:g} % confidence, with exponent {growth.shape:.2f}, below 1 when"
        f" failures grow rarer; {trend}."
    )
