"""Check characters of ISO/IEC 7064:2003, MOD 37-2, against published numbers that carry one.

Each number with its character is printed in a guideline of blood services or of ICCBBA, whose
donation numbers carry this check character. The detection of slips is what the standard promises.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.errors import TagError
from spinproof.model.tag import ALPHABET, check_character, parse_tag, slips, tag_of

pytestmark = pytest.mark.source(
    "ISO/IEC 7064:2003, MOD 37-2; numbers of the UK Red Book, annexe 2, and of ICCBBA",
    kind="published",
)

BODIES = st.text(ALPHABET[:-1], min_size=4, max_size=32)


@pytest.mark.parametrize(
    ("body", "character"),
    [
        ("G123498654321", "H"),  # UK transfusion services, Red Book, annexe 2
        ("G123417654321", "A"),  # ICCBBA, Use of the Donation Identification Number, 3.3
        ("A999917123456", "9"),  # the same guide, figure 1
        ("A999916123456", "Q"),  # ICCBBA IN-015, An Introduction to ISBT 128, section 4
    ],
)
def test_published_numbers_have_their_published_character(body: str, character: str):
    assert check_character(body) == character
    assert parse_tag(body + character) == body + character


def test_the_worked_example_adds_up_as_printed():
    """Red Book, annexe 2: weighted sum 148354, which leaves 21, and 38 - 21 = 17 is H."""
    body = "G123498654321"
    weighted = sum(ALPHABET.index(c) * 2**n for n, c in enumerate(reversed(body), start=1))

    assert weighted == 148354
    assert weighted % 37 == 21
    assert check_character(body) == ALPHABET[38 - 21]


@pytest.mark.parametrize(
    ("body", "character"),
    [
        ("TB0147H1RTR01", "S"),
        ("TB0147H2RTR01", "1"),
        ("TB0147H1SOL03", "9"),
        ("TB0147H1SOL04", "7"),
    ],
)
def test_tags_that_differ_by_a_head_or_a_number_differ_in_their_character(body, character):
    """Computed by hand with the standard's recursion, not published."""
    assert tag_of(body) == body + character


@given(body=BODIES, data=st.data())
def test_every_single_wrong_character_is_detected(body: str, data: st.DataObject):
    tag = tag_of(body)
    place = data.draw(st.integers(0, len(tag) - 1))
    allowed = ALPHABET if place == len(tag) - 1 else ALPHABET[:-1]
    other = data.draw(st.sampled_from(allowed.replace(tag[place], "")))
    wrong = tag[:place] + other + tag[place + 1 :]

    with pytest.raises(TagError, match="the check character does not fit"):
        parse_tag(wrong)
    assert any(slip.position == place + 1 and slip.tag == tag for slip in slips(wrong))


@given(body=BODIES, data=st.data())
def test_every_swap_of_different_neighbours_is_detected(body: str, data: st.DataObject):
    tag = tag_of(body)
    places = [n for n in range(len(tag) - 1) if tag[n] != tag[n + 1]]
    if not places:
        return
    place = data.draw(st.sampled_from(places))
    wrong = tag[:place] + tag[place + 1] + tag[place] + tag[place + 2 :]

    with pytest.raises(TagError):
        parse_tag(wrong)
    if not wrong[:-1].count("*"):
        assert any(s.swapped and s.position == place + 1 and s.tag == tag for s in slips(wrong))


def test_all_slips_of_one_tag_are_detected():
    """The whole neighbourhood of one tag: 14 places, each with every other character."""
    tag = tag_of("TB0147H1RTR01")
    wrong = {
        tag[:n] + other + tag[n + 1 :]
        for n in range(len(tag))
        for other in (ALPHABET if n == len(tag) - 1 else ALPHABET[:-1])
        if other != tag[n]
    }

    assert len(wrong) == 13 * 35 + 36
    assert all(slips(text) for text in wrong)
