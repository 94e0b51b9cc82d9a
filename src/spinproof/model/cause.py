"""Likely causes of what a run showed: a suggestion with its evidence, which a person settles."""

from dataclasses import dataclass
from enum import StrEnum

UNKNOWN = "unknown"
NOTHING = "nothing"


class Level(StrEnum):
    """How a symptom stands to what is usual."""

    LOW = "low"
    NORMAL = "normal"
    HIGH = "high"


@dataclass(frozen=True)
class Symptom:
    """One observation of a run, beside what is usual."""

    name: str
    level: Level
    words: str
    """For example "coast against the prediction −28.6 %"."""


@dataclass(frozen=True)
class Cause:
    """One likely cause."""

    name: str
    words: str
    share: float
    """Share of belief among all causes, nothing and the unknown included. [1]"""
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]
    why: str
    """The physics behind the signature."""
    check: str
    """What would settle it."""


@dataclass(frozen=True)
class Diagnosis:
    """What may lie behind a run."""

    run: str
    verdict: str
    """Name of the leading cause, "nothing", or "unknown"."""
    causes: tuple[Cause, ...]
    """Those with a share worth telling, the likeliest first."""
    symptoms: tuple[Symptom, ...]
    """All that are not normal."""
    words: tuple[str, ...]
