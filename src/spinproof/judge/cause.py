"""From the symptoms of a run to ranked likely causes, by signatures that are data.

Each signature says what a cause does to the symptoms. A cause is scored by how probable the seen
symptoms are under it, beside "nothing" (all is normal) and "unknown" (anything may be off). The
shares are those of Bayes' rule with equal priors, for independent symptoms: they rank, and are no
probabilities that a person should bet on.
"""

import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from math import exp, log
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from spinproof.judge.symptoms import Seen, symptoms_of
from spinproof.model.cause import NOTHING, UNKNOWN, Cause, Diagnosis, Level, Symptom
from spinproof.model.noun import Name, Noun

Expected = Literal["low", "normal", "high", "any"]

SEEN, NOT_SEEN, CONTRARY = 0.90, 0.08, 0.02
"""Probabilities of an expected symptom: as expected, normal, the other way. [1]"""
MAY_SEEN, MAY_NORMAL, MAY_CONTRARY = 0.40, 0.55, 0.05
"""The same for a symptom that a cause may show."""
STRAY = 0.01
"""Probability that a symptom that a cause does not touch is off, each way. [1]"""
UNKNOWN_OFF = 0.12
"""Probability that a symptom is off each way when the cause is none of the known. [1]"""
LEAST_SHARE = 0.6
"""Share that the leading cause must have, or the answer is unknown. [1]"""
TOLD_SHARE = 0.02


class Signature(Noun):
    """What a cause does to the symptoms of a run."""

    name: Name
    words: str
    expects: Annotated[dict[str, Expected], Field(min_length=1)]
    may: dict[str, Expected]
    why: str
    check: str


def diagnose(seen: Seen) -> Diagnosis:
    """Rank the likely causes of what a run showed.

    Parameters
    ----------
    seen : Seen
        The judgement, the head, and what is usual.

    Returns
    -------
    Diagnosis
        Its verdict is the name of a cause, "nothing" when all is normal, or "unknown" when no
        signature explains all that was seen, or two explain it as well.
    """
    found = symptoms_of(seen)
    scores = {s.name: _score(found, s) for s in signatures()}
    scores[NOTHING] = sum(log(1 - 2 * STRAY if _is_normal(s) else STRAY) for s in found.values())
    scores[UNKNOWN] = sum(
        log(1 - 2 * UNKNOWN_OFF if _is_normal(s) else UNKNOWN_OFF) for s in found.values()
    )
    top = max(scores.values())
    weights = {name: exp(score - top) for name, score in scores.items()}
    shares = {name: weight / sum(weights.values()) for name, weight in weights.items()}
    off = tuple(s for s in found.values() if not _is_normal(s))
    causes = tuple(
        _told(signature, shares[signature.name], found)
        for signature in sorted(signatures(), key=lambda s: -shares[s.name])
        if shares[signature.name] >= TOLD_SHARE and off
    )
    verdict = max(shares, key=lambda name: shares[name])
    if not off:
        verdict = NOTHING
    elif verdict == NOTHING or shares[verdict] < LEAST_SHARE or not _explains(verdict, off):
        verdict = UNKNOWN
    return Diagnosis(seen.judgement.run, verdict, causes, off, _words(verdict, causes, off))


@cache
def signatures() -> tuple[Signature, ...]:
    """Give the signatures of all known causes."""
    path = Path(__file__).with_name("signatures.toml")
    document = tomllib.loads(path.read_text("utf-8"))
    return tuple(Signature.from_document(entry) for entry in document["cause"])


def _score(found: Mapping[str, Symptom], signature: Signature) -> float:
    score = 0.0
    for name, symptom in found.items():
        if name in signature.expects:
            odds = _odds(symptom.level, signature.expects[name], SEEN, NOT_SEEN, CONTRARY)
        elif name in signature.may:
            wanted = signature.may[name]
            odds = _odds(symptom.level, wanted, MAY_SEEN, MAY_NORMAL, MAY_CONTRARY)
        else:
            odds = 1 - 2 * STRAY if _is_normal(symptom) else STRAY
        score += log(odds)
    return score


def _odds(level: Level, wanted: Expected, seen: float, normal: float, contrary: float) -> float:
    """Give the probability of a symptom's level under a cause."""
    if wanted == "normal":
        return 1 - 2 * STRAY if level is Level.NORMAL else STRAY
    if level is Level.NORMAL:
        return normal
    if wanted == "any":
        return seen / 2
    return seen if level.value == wanted else contrary


def _explains(cause: str, off: Sequence[Symptom]) -> bool:
    """Tell whether a cause accounts for everything that is off."""
    touched = next((s.expects | s.may for s in signatures() if s.name == cause), {})
    return all(touched.get(s.name) in {s.level.value, "any"} for s in off)


def _is_normal(symptom: Symptom) -> bool:
    return symptom.level is Level.NORMAL


def _told(signature: Signature, share: float, found: Mapping[str, Symptom]) -> Cause:
    touched = signature.expects | signature.may
    off = [symptom for symptom in found.values() if not _is_normal(symptom)]
    fits = [s for s in off if touched.get(s.name) in {s.level.value, "any"}]
    against = [s.words for s in off if s not in fits]
    against += [
        f"{found[name].words}: it should be {wanted}"
        for name, wanted in signature.expects.items()
        if name in found and _is_normal(found[name]) and wanted != "normal"
    ]
    return Cause(
        name=signature.name,
        words=signature.words,
        share=round(share, 4),
        evidence_for=tuple(s.words for s in fits),
        evidence_against=tuple(against),
        why=signature.why,
        check=signature.check,
    )


def _words(verdict: str, causes: Sequence[Cause], off: Sequence[Symptom]) -> tuple[str, ...]:
    if verdict == NOTHING:
        return ("Nothing stands out beside the recipe, the head and what is usual.",)
    seen = "; ".join(symptom.words for symptom in off)
    if verdict == UNKNOWN:
        close = " or ".join(cause.words for cause in causes[:2])
        hint = f" Nearest: {close}." if close else ""
        return (f"Unknown: no known cause explains alone what was seen ({seen}).{hint}",)
    first = causes[0]
    return (
        f"Likely: {first.words}. Seen: {seen}.",
        f"To settle it: {first.check}",
    )
