"""Words that promise more than records can hold; a dossier that holds one is not issued."""

from collections.abc import Iterator

from spinproof.model.errors import PackageError
from spinproof.model.promise import promise_in


def refuse_promises(document: object, where: str) -> None:
    """Refuse to issue a document that holds a word of promise.

    Parameters
    ----------
    document : object
        Text, or dictionaries and lists of it, as it is to be printed.
    where : str
        Name of the document, for the message.

    Raises
    ------
    PackageError
        If a text holds such a word; the message names the word and its place.
    """
    for place, text in _texts(document, where):
        if found := promise_in(text):
            raise PackageError(
                f'the words "{found}" promise more than records can hold, in "{text[:120]}"',
                where=place,
                mend="Say in the record what was done and measured instead; then issue again.",
            )


def _texts(document: object, place: str) -> Iterator[tuple[str, str]]:
    if isinstance(document, str):
        yield place, document
    elif isinstance(document, dict):
        for key, value in document.items():
            yield from _texts(value, f"{place}, {key}")
    elif isinstance(document, list | tuple):
        for number, value in enumerate(document, 1):
            yield from _texts(value, f"{place} {number}")
