"""Search for forbidden words in whatever spelling, before anything leaves the shop.

This is the second net. The first is that documents are made from values that cannot name the
customer: a search can only say that it found nothing in the spellings that it knows.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from spinproof.evidence.carriers import FoundText, texts_in
from spinproof.evidence.identity import ForbiddenWord
from spinproof.evidence.spellings import DEPTH, plain_letters, readings_of, spaced_letters

SHORT = 6
"""Words of fewer letters are found only as whole words: inside others they occur by chance."""
FUZZY = 7
"""Words of so many letters, unless mostly digits, are found with one slip of the hand as well."""


@dataclass(frozen=True)
class Leak:
    """A forbidden word that was found; it does not repeat the word."""

    where: str
    """What was searched, for example "file name" or "dossier.pdf, stream 3"."""
    what: str
    """What was found there, for example "a name of OTTER"."""
    how: str
    """How it is written, for example "plain", "backwards" or "base64, with one slip"."""
    at: int | None
    """Offset of its first letter when it stands plainly in a text; None otherwise, and in files."""
    sure: bool
    """False for short words, which may stand there by chance: a person looks."""

    def __str__(self) -> str:
        """Say it in a clause."""
        place = self.where if self.at is None else f"{self.where}, character {self.at + 1}"
        return f"{self.what} in {place} ({self.how})" + ("" if self.sure else ", perhaps by chance")


class _Needle:
    """A forbidden word, made ready for the search."""

    def __init__(self, word: ForbiddenWord) -> None:
        self.word = word
        self.letters = plain_letters(word.text)
        self.is_short = len(self.letters) < SHORT
        digits = sum(letter.isdigit() for letter in word.text)
        self.is_fuzzy = len(self.letters) >= FUZZY and 2 * digits < len(self.letters)

    @cached_property
    def pieces(self) -> tuple[str, ...]:
        size = self.word.piece
        if size is None:
            return ()
        return tuple(self.letters[at : at + size] for at in range(len(self.letters) - size + 1))

    @cached_property
    def whole(self) -> re.Pattern[str]:
        return re.compile(r"\b" + " ?".join(map(re.escape, self.letters)) + r"\b")

    def find(self, text: "_Reading") -> tuple[str, int | None] | None:
        """Say how the word stands in a text, and where among its plain letters."""
        if self.is_short:
            return ("plain", None) if self.whole.search(text.spaced) else None
        letters = text.letters
        if (at := letters.find(self.letters)) >= 0:
            return "plain", at
        if self.letters[::-1] in letters:
            return "backwards", None
        for piece in self.pieces:
            if (at := letters.find(piece)) >= 0:
                return f"{len(piece)} letters of it", at
        if self.is_fuzzy and text.is_text and (at := _with_one_slip(self.letters, letters)) >= 0:
            return "with one slip", at
        return None


class _Reading:
    """A text as it is searched."""

    def __init__(self, text: str, *, is_text: bool) -> None:
        self.text = text
        self.is_text = is_text

    @cached_property
    def letters(self) -> str:
        return plain_letters(self.text)

    @cached_property
    def spaced(self) -> str:
        return spaced_letters(self.text)

    def offset_of(self, letter: int) -> int:
        """Give the place in the text of one of its plain letters."""
        for at, character in enumerate(self.text):
            letter -= len(plain_letters(character))
            if letter < 0:
                return at
        return len(self.text)


def find_leaks(
    words: Iterable[ForbiddenWord], things: Mapping[str, str | bytes]
) -> tuple[Leak, ...]:
    """Search texts and files for forbidden words.

    Parameters
    ----------
    words : iterable of ForbiddenWord
        What must not be found.
    things : mapping of str to str or bytes
        Texts and whole files, each by the name that the report shall call it.

    Returns
    -------
    tuple of Leak
        What was found, each word once for each thing. Empty means: not in any spelling known
        here, and not that a picture or a voice does not tell it.

    Raises
    ------
    EvidenceError
        If a file holds an archive that must not be unpacked, and so cannot be searched.
    """
    needles = [needle for word in words if len((needle := _Needle(word)).letters) > 1]
    return tuple(
        leak if isinstance(thing, str) else replace(leak, at=None)
        for name, thing in things.items()
        for leak in _leaks_in(_texts_of(thing, name), needles)
    )


def _texts_of(thing: str | bytes, name: str) -> Iterator[FoundText]:
    if isinstance(thing, str):
        yield FoundText(name, thing, is_text=True)
    else:
        yield from texts_in(thing, name)


def _leaks_in(texts: Iterator[FoundText], needles: list[_Needle]) -> Iterator[Leak]:
    """Search one thing; a word that was found somewhere in it is not looked for again."""
    sought = needles
    for where, codes, searched in _readings(texts):
        missed = []
        for needle in sought:
            if (found := needle.find(searched)) is None:
                missed.append(needle)
                continue
            how, at = found
            offset = None if codes or at is None else searched.offset_of(at)
            shown = how if not codes else codes if how == "plain" else f"{codes}, {how}"
            yield Leak(where, needle.word.what, shown, offset, sure=not needle.is_short)
        sought = missed


def _readings(texts: Iterator[FoundText]) -> Iterator[tuple[str, str, _Reading]]:
    for found in texts:
        for codes, text in readings_of(found.text, DEPTH if found.is_text else 0):
            yield found.where, codes, _Reading(text, is_text=found.is_text)


def _with_one_slip(word: str, text: str) -> int:
    """Find a word with one letter wrong, missing or too many, or two neighbours swapped.

    One half of the word is then still right, or the swap is in the middle.
    """
    half = len(word) // 2
    left, right = word[:half], word[half:]
    for at in _all_of(left, text):
        if _nearly_starts(right, text[at + half : at + len(word) + 1]):
            return at
    for at in _all_of(right, text):
        if _nearly_starts(left[::-1], text[max(0, at - half - 1) : at][::-1]):
            return max(0, at - half)
    swapped = word[: half - 1] + word[half] + word[half - 1] + word[half + 1 :]
    return text.find(swapped)


def _all_of(part: str, text: str) -> Iterator[int]:
    at = text.find(part)
    while at >= 0:
        yield at
        at = text.find(part, at + 1)


def _nearly_starts(part: str, text: str) -> bool:
    """Tell whether a text starts with a part but for one slip."""
    same = 0
    while same < min(len(part), len(text)) and part[same] == text[same]:
        same += 1
    part, text = part[same:], text[same:]
    return (
        not part
        or text[1:].startswith(part[1:] if text else part)
        or text.startswith(part[1:])
        or text[1:].startswith(part)
        or (len(part) > 1 and text.startswith(part[1] + part[0] + part[2:]))
    )
