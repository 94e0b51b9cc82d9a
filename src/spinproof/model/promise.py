"""Words that promise more than records can hold."""

import re

PROMISES = (
    r"fully",
    r"(?:as|like|good as) new",
    r"compl(?:y|ies|iant|iance)",
    r"conforms?",
    r"certif(?:y|ies|ied)",
    r"guarantee(?:s|d)?",
    r"all heads",
    r"no wear",
    r"identical",
    r"perfect(?:ly)?",
)
"""Patterns of whole words, in any case of letters."""

_PROMISE = re.compile(r"\b(?:" + "|".join(PROMISES) + r")\b", re.IGNORECASE)


def promise_in(text: str) -> str | None:
    """Find the first words of a text that promise too much.

    Parameters
    ----------
    text : str
        What somebody wrote.

    Returns
    -------
    str or None
        The words, or None when there are none.

    Examples
    --------
    >>> promise_in("machine fully refurbished")
    'fully'
    """
    found = _PROMISE.search(" ".join(text.split()))
    return None if found is None else found[0]
