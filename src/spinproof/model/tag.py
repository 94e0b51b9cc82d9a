"""Tags of part instances, with a check character that catches a slip of the hand.

ISO/IEC 7064:2003, MOD 37-2: every single wrong character and every swap of two neighbours is
detected, so that an upper and a lower part, or two numbers in a row, cannot be mistaken by typing.
"""

from collections.abc import Collection
from dataclasses import dataclass

from spinproof.model.errors import TagError

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
"""Characters of a tag by their check value; the star stands as check character only."""
SHORTEST_BODY, LONGEST_BODY = 4, 32
_LOOK_ALIKE = frozenset(
    frozenset(pair) for pair in ("0O", "0Q", "0D", "OQ", "OD", "1I", "2Z", "5S", "8B", "6G", "UV")
)


@dataclass(frozen=True)
class Slip:
    """One slip of the hand that would explain a tag whose check character does not fit."""

    position: int
    """Place of the wrong character, counted from 1 without dashes and spaces."""
    swapped: bool
    """Whether it and its right neighbour changed places; otherwise it alone is wrong."""
    tag: str
    """The tag as it would then be."""
    likely: bool
    """Whether the hand or the eye slips like this easily: a swap, or a look-alike."""


def check_character(body: str) -> str:
    """Give the check character of a tag's body.

    Parameters
    ----------
    body : str
        Digits 0-9 and letters A-Z.

    Returns
    -------
    str
        One of 0-9, A-Z and the star.

    Raises
    ------
    TagError
        If the body holds another character, or none.

    References
    ----------
    .. [1] ISO/IEC 7064:2003, Check character systems, MOD 37-2.

    Examples
    --------
    >>> check_character("G123498654321")
    'H'
    """
    return ALPHABET[(1 - 2 * _remainder(_plain_body(body))) % 37]


def tag_of(body: str) -> str:
    """Give the tag of a new instance: its body and the check character.

    Parameters
    ----------
    body : str
        What identifies the instance, for example machine, head, position and number. Dashes,
        spaces and lower case are taken as in `parse_tag`.

    Returns
    -------
    str
        The tag, without dashes.

    Raises
    ------
    TagError
        If the body is too short, too long, or holds other characters.

    Examples
    --------
    >>> tag_of("QM207-L-RTR01")
    'QM207LRTR011'
    """
    plain = _plain_body(_tidy(body))
    if not SHORTEST_BODY <= len(plain) <= LONGEST_BODY:
        raise TagError(
            f"a body of {len(plain)} characters is too {'short' if len(plain) < 9 else 'long'}",
            where=f'tag "{body.strip()}"',
            mend=f"Use {SHORTEST_BODY} to {LONGEST_BODY} letters and digits.",
        )
    return plain + check_character(plain)


def parse_tag(text: str, known: Collection[str] = ()) -> str:
    """Read a tag that was typed or scanned.

    Parameters
    ----------
    text : str
        The tag. Dashes and spaces are for the eye, and lower case is raised.
    known : collection of str
        Tags that exist, to name the one that was meant.

    Returns
    -------
    str
        The tag, without dashes.

    Raises
    ------
    TagError
        If it is no tag, or its check character does not fit. The message names the places where
        one wrong character or one swap of neighbours would explain it.

    Examples
    --------
    >>> parse_tag("qm207-l-rtr01-1")
    'QM207LRTR011'
    """
    tag = _tidy(text)
    where = f'tag "{text.strip()}"'
    if not SHORTEST_BODY < len(tag) <= LONGEST_BODY + 1:
        raise TagError(
            f"a tag of {len(tag)} characters is too {'short' if len(tag) < 9 else 'long'}",
            where=where,
            mend="Scan the tag, or type all of it with its check character.",
        )
    for place, character in enumerate(tag, start=1):
        allowed = ALPHABET if place == len(tag) else ALPHABET[:-1]
        if character not in allowed:
            raise TagError(
                f'character {place}, "{character}", cannot stand there',
                where=where,
                mend="A tag holds digits, letters A to Z, and a star at its end at most.",
            )
    if check_character(tag[:-1]) == tag[-1]:
        return tag
    found = slips(text)
    meant = [slip for slip in found if slip.tag in known]
    raise TagError(
        f"the check character does not fit: {_in_words(tag, found, meant)}",
        where=where,
        mend=f"{_question(meant)} Scan the tag, or type it again.".lstrip(),
    )


def slips(text: str) -> tuple[Slip, ...]:
    """Give every single slip that would explain a tag with a wrong check character.

    Parameters
    ----------
    text : str
        The tag as typed.

    Returns
    -------
    tuple of Slip
        Wrong characters and swaps of neighbours that make it valid, the likely ones first;
        empty when the tag is valid.
    """
    tag = _tidy(text)
    if _is_valid(tag):
        return ()
    found = []
    for index, character in enumerate(tag):
        for other in ALPHABET if index == len(tag) - 1 else ALPHABET[:-1]:
            changed = tag[:index] + other + tag[index + 1 :]
            if _is_valid(changed):
                alike = frozenset(character + other) in _LOOK_ALIKE
                found.append(Slip(index + 1, swapped=False, tag=changed, likely=alike))
        swapped = tag[:index] + tag[index : index + 2][::-1] + tag[index + 2 :]
        if _is_valid(swapped):
            found.append(Slip(index + 1, swapped=True, tag=swapped, likely=True))
    return tuple(sorted(found, key=lambda slip: not slip.likely))


def _tidy(text: str) -> str:
    return "".join(text.split()).replace("-", "").upper()


def _plain_body(body: str) -> str:
    if not body or any(character not in ALPHABET[:-1] for character in body):
        raise TagError(
            "the body of a tag holds digits and letters A to Z only",
            where=f'tag "{body}"',
            mend="Leave out other characters.",
        )
    return body


def _remainder(text: str) -> int:
    """Give the text's value in radix 2, modulo 37."""
    remainder = 0
    for character in text:
        remainder = (remainder * 2 + ALPHABET.index(character)) % 37
    return remainder


def _is_valid(tag: str) -> bool:
    body_is_plain = len(tag) > 1 and all(c in ALPHABET[:-1] for c in tag[:-1])
    return body_is_plain and tag[-1] in ALPHABET and _remainder(tag) == 1


def _in_words(tag: str, found: tuple[Slip, ...], meant: list[Slip]) -> str:
    shown = meant or [slip for slip in found if slip.likely]
    words = [
        f"characters {slip.position} and {slip.position + 1} may be swapped"
        if slip.swapped
        else f'character {slip.position}, "{tag[slip.position - 1]}", may be '
        f'"{slip.tag[slip.position - 1]}"'
        for slip in shown
    ]
    if meant:
        return "; or ".join(words)
    places = sorted({slip.position for slip in found if not slip.swapped})
    if len(places) == len(tag):
        rest = "any single character may be wrong"
    elif places:
        rest = f"one wrong character may stand at place {', '.join(map(str, places))}"
    else:
        rest = "no single wrong character explains it"
    return "; or ".join([*words, rest])


def _question(meant: list[Slip]) -> str:
    return f"Is it {' or '.join(slip.tag for slip in meant)}?" if meant else ""
