"""Loaded slots as text: "1-13", or cassette by cassette "1: 1-25; 2: 1-24"."""

import re
from collections.abc import Iterator
from typing import NoReturn

from spinproof.app.calculators.calculator import SlotOf
from spinproof.model.errors import DocumentError

_SPAN = re.compile("([0-9]{1,3})(?:-([0-9]{1,3}))?")


def read_slots(text: str, where: str) -> tuple[SlotOf, ...]:
    """Read loaded slots, as in "1-13" or "1: 1-25; 2: 1-12 14-25".

    Parameters
    ----------
    text : str
        Groups of slots divided by semicolons, each behind the number of its cassette and a colon;
        slots without one belong to the first cassette.
    where : str
        The field, for the message.

    Returns
    -------
    tuple of tuple of int
        Cassette and slot, in order.

    Raises
    ------
    DocumentError
        If it cannot be read so, or a slot is named twice.

    Examples
    --------
    >>> read_slots("1: 1-3; 2: 5", "slots")
    ((1, 1), (1, 2), (1, 3), (2, 5))
    """
    found: list[SlotOf] = []
    for group in filter(str.strip, text.split(";")):
        cassette, colon, listed = group.partition(":")
        number = cassette.strip() if colon else "1"
        if not (number.isascii() and number.isdecimal() and int(number)):
            _refuse(group, where)
        for span in _spans(listed if colon else group, where):
            found += [(int(number), slot) for slot in span]
    if len(set(found)) != len(found):
        twice = next(slot for slot in found if found.count(slot) > 1)
        raise DocumentError(
            f"slot {twice[1]} of cassette {twice[0]} is named twice",
            where=where,
            mend="Name each loaded slot once.",
        )
    return tuple(sorted(found))


def _spans(text: str, where: str) -> Iterator[range]:
    joined = re.sub(r"\s*(-|–|to)\s*", "-", text.strip())
    for part in filter(None, re.split(r"[,\s]+", joined)):
        match = _SPAN.fullmatch(part)
        first, last = (int(match[1]), int(match[2] or match[1])) if match else (0, 0)
        if not 1 <= first <= last:
            _refuse(part, where)
        yield range(first, last + 1)


def _refuse(text: str, where: str) -> NoReturn:
    raise DocumentError(
        f'"{text.strip()}" names no slots',
        where=where,
        mend='Write slots as "1-13", or with cassettes as "1: 1-25; 2: 1-24".',
    )


def write_slots(loaded: tuple[SlotOf, ...]) -> str:
    """Write loaded slots as they can be typed again.

    Examples
    --------
    >>> write_slots(((1, 1), (1, 2), (1, 3), (1, 7), (2, 5)))
    '1: 1-3 7; 2: 5'
    """
    groups = []
    for cassette in sorted({each for each, _ in loaded}):
        own = sorted(slot for each, slot in loaded if each == cassette)
        spans: list[list[int]] = []
        for slot in own:
            if spans and slot == spans[-1][-1] + 1:
                spans[-1].append(slot)
            else:
                spans.append([slot])
        text = " ".join(f"{s[0]}-{s[-1]}" if len(s) > 1 else f"{s[0]}" for s in spans)
        groups.append(f"{cassette}: {text}")
    return "; ".join(groups)
