"""The last look at a package before it is sealed: nothing in it may tell who a customer is."""

from collections.abc import Iterable, Mapping

from spinproof.evidence.identity import ForbiddenWord
from spinproof.evidence.leaks import find_leaks
from spinproof.model.errors import PackageError

MOST_NAMED = 8
"""So many finds stand in the message; the rest are counted."""


def refuse_leaks(
    words: Iterable[ForbiddenWord], things: Mapping[str, str | bytes], *, where: str
) -> None:
    """Refuse to release what holds a forbidden word.

    Parameters
    ----------
    words : iterable of ForbiddenWord
        What must not be found.
    things : mapping of str to str or bytes
        Every text and every file of the package, each by what the message shall call it.
    where : str
        What is released.

    Raises
    ------
    PackageError
        If something was found. The message says where and of what kind, and never the word.
    EvidenceError
        If a file cannot be searched.
    """
    names = {"the names of its files": "\n".join(things)}
    leaks = [str(leak) for leak in find_leaks(words, {**names, **things})]
    if not leaks:
        return
    more = f"; and {len(leaks) - MOST_NAMED} more" if len(leaks) > MOST_NAMED else ""
    raise PackageError(
        "something in it tells who a customer is, so it is not released: "
        f"{'; '.join(leaks[:MOST_NAMED])}{more}",
        where=where,
        mend="Change what the records say there, then issue again. If it stands there by chance, "
        "the owner can take the word out of the customer's record.",
    )
