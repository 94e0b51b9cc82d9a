"""Comparing the audit trail with heads of it that left the house."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from spinproof.ledger.heads import Anchor, AnchorEntry, RestorationEntry, TreeHead

FEW_DIGITS = 6
"""Two roots that are not the same differ in about 60 of 64 digits; copying slips are fewer."""


@dataclass(frozen=True)
class Trail:
    """The audit trail as it is found."""

    log: str | None
    """None while it has no row."""
    size: int
    roots: Mapping[int, str]
    """Root by number of rows, for each number that an anchor asks for."""
    restorations: tuple[RestorationEntry, ...]


@dataclass(frozen=True)
class Comparison:
    """What heads from elsewhere say about the trail."""

    findings: tuple[str, ...]
    """What was edited, cut or rewritten."""
    forks: tuple[str, ...]
    """What a restoration explains."""
    vouched: int
    """Rows that the longest fitting head vouches for."""


def compare(trail: Trail, anchors: Iterable[Anchor | AnchorEntry]) -> Comparison:
    """Hold heads against the trail.

    Parameters
    ----------
    trail : Trail
        The trail.
    anchors : iterable of Anchor or AnchorEntry
        The heads.

    Returns
    -------
    Comparison
        What they show.
    """
    ordered = sorted(anchors, key=lambda anchor: anchor.signed.head.size)
    fitting = [_head(a).size for a in ordered if _fits(trail, _head(a))]
    findings: list[str] = []
    forks: list[str] = []
    for anchor in ordered:
        if anchor.signed.is_genuine is False:
            findings.append(f"the signature of {anchor.words} does not fit: somebody made it up")
        elif not _fits(trail, _head(anchor)):
            vouched = max((n for n in fitting if n < _head(anchor).size), default=0)
            slip, fork = _miscopied(trail, anchor), next(_forks(trail, anchor), None)
            if fork and not slip:
                forks.append(fork)
            else:
                findings.append(slip or _contradiction(trail, anchor, vouched))
    return Comparison(tuple(findings), tuple(forks), max(fitting, default=0))


def unproved(
    trail: Trail, outside: Iterable[Anchor], noted: Iterable[AnchorEntry]
) -> tuple[str, ...]:
    """Say what the comparison cannot show.

    Parameters
    ----------
    trail : Trail
        The trail.
    outside : iterable of Anchor
        Heads that came back from outside.
    noted : iterable of AnchorEntry
        Heads that the ledger says it sent out.

    Returns
    -------
    tuple of str
        Sentences.
    """
    vouched = compare(trail, outside).vouched
    sent = sorted(noted, key=lambda anchor: anchor.signed.head.size)
    last = (
        f" The last one that was noted is {sent[-1].words}: fetch it and compare."
        if sent
        else (" None was ever sent out: print one, and give it away.")
    )
    nothing = "No head from outside the house vouches for any row."
    span = rows(vouched + 1, trail.size)
    part = f"{span.capitalize()} added after the last head from outside."
    gap = (
        f"{part if vouched else nothing} Whoever has full rights on this machine and time could "
        "have cut them off or rewritten them with fresh hashes, and nothing here would show it."
        + ("" if vouched else last)
    )
    never = "No head shows what was never written down, nor whether what was written down was true."
    return (gap, never) if vouched < trail.size else (never,)


def rows(first: int, last: int) -> str:
    """Name some rows and their verb: "row 7 was", "rows 7 to 9 were".

    >>> rows(7, 7), rows(7, 9)
    ('row 7 was', 'rows 7 to 9 were')
    """
    return f"row {first} was" if first == last else f"rows {first} to {last} were"


def _head(anchor: Anchor | AnchorEntry) -> TreeHead:
    return anchor.signed.head


def _fits(trail: Trail, head: TreeHead) -> bool:
    return trail.log == head.log and trail.roots.get(head.size) == head.root


def _contradiction(trail: Trail, anchor: Anchor | AnchorEntry, vouched: int) -> str:
    head = anchor.signed.head
    if trail.log is None:
        return f"the trail is empty, and {anchor.words} saw {head.size} rows of it"
    if head.log != trail.log:
        return (
            f"{anchor.words} is of trail {head.log}, and this is {trail.log}: it belongs to "
            "another ledger, or this one was rewritten from its first row on"
        )
    if head.size > trail.size:
        return f"{rows(trail.size + 1, head.size)} cut off: {anchor.words} saw {head.size} rows"
    some = "" if vouched + 1 == head.size else ", one of them at least"
    return f"{rows(vouched + 1, head.size)} changed{some}: {anchor.words} has another root"


def _miscopied(trail: Trail, anchor: Anchor | AnchorEntry) -> str | None:
    head = anchor.signed.head
    root = trail.roots.get(head.size, "")
    differing = sum(a != b for a, b in zip(root, head.root, strict=False))
    if trail.log != head.log or not 0 < differing <= FEW_DIGITS:
        return None
    return (
        f"{anchor.words} differs from the root of {head.size} rows in {differing} of "
        f"{len(head.root)} digits: it was miscopied, so compare it again"
    )


def _forks(trail: Trail, anchor: Anchor | AnchorEntry) -> Iterator[str]:
    head = anchor.signed.head
    for back in trail.restorations:
        if head.log == trail.log and back.size < head.size:
            yield (
                f"{anchor.words} saw {head.size} rows; on {back.at} {back.who} put back the "
                f"backup of {back.backed_up_at} with {back.size} rows ({back.why}). The trail "
                f"forks there: {rows(back.size + 1, head.size)} of the branch that was given up"
            )
