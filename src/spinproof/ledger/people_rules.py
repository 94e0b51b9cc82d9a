"""How many wrong tries are taken: pure rules over the history of somebody's proofs."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import islice

from spinproof.ledger.people_entries import Means, ProofEntry, seconds_since
from spinproof.model.access import TRIES, TryLimits


def wrong_in_row(history: Sequence[ProofEntry], means: Means, since: str | None) -> int:
    """Count the wrong tries since the last right one.

    Parameters
    ----------
    history : sequence of ProofEntry
        The tries of one person, the newest first.
    means : Means
        Password or PIN. A right password starts the count of both anew.
    since : str, optional
        When the password or PIN was set; earlier tries were for another one.

    Returns
    -------
    int
        The count.
    """
    return len(list(_wrong(history, means, since)))


def _wrong(history: Sequence[ProofEntry], means: Means, since: str | None) -> Iterator[ProofEntry]:
    for proof in history:
        if since is not None and proof.at < since:
            return
        if proof.accepted and proof.means in {means, Means.PASSWORD}:
            return
        if proof.means is means:
            yield proof


def seconds_to_wait(
    history: Sequence[ProofEntry],
    since: str | None,
    at: datetime,
    limits: TryLimits = TRIES,
) -> float:
    """Give how long somebody must wait before the next password is taken.

    Parameters
    ----------
    history : sequence of ProofEntry
        The tries of one person, the newest first.
    since : str, optional
        When the password was set.
    at : datetime
        The present instant.
    limits : TryLimits
        How many wrong tries are taken.

    Returns
    -------
    float
        Seconds; zero when it is taken at once.
    """
    latest = list(islice(_wrong(history, Means.PASSWORD, since), limits.in_window))
    if len(latest) < limits.in_window:
        return 0.0
    return max(0.0, limits.window_s - seconds_since(latest[-1].at, at))
