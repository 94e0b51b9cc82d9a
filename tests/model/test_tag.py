"""Tags of parts: how they are typed, and how a wrong one is refused."""

import pytest

from spinproof.model.errors import TagError
from spinproof.model.tag import parse_tag, slips, tag_of

RIGHT = "TB0147H1RTR01S"


def refusal(text: str, known: tuple[str, ...] = ()) -> TagError:
    with pytest.raises(TagError) as caught:
        parse_tag(text, known)
    return caught.value


@pytest.mark.parametrize(
    "typed", [RIGHT, "tb0147h1rtr01s", " TB0147-H1-RTR01-S ", "TB0147 H1 RTR01 S"]
)
def test_dashes_spaces_and_lower_case_are_for_the_eye(typed: str):
    assert parse_tag(typed) == RIGHT


def test_the_wrong_head_is_refused_and_the_known_tags_it_may_be_are_named():
    error = refusal("TB0147H2RTR01S", known=(RIGHT, "TB0147H2RTR011", "TB0147H1SOL039"))

    assert error.what == (
        'the check character does not fit: character 8, "2", may be "1"'
        '; or character 14, "S", may be "1"'
    )
    assert error.mend.startswith("Is it TB0147H1RTR01S or TB0147H2RTR011?")
    assert error.where == 'tag "TB0147H2RTR01S"'


def test_a_swap_of_neighbours_is_named_by_its_places():
    error = refusal("TB0147H1RRT01S")

    assert "characters 10 and 11 may be swapped" in error.what


def test_a_letter_for_a_digit_is_named_first():
    error = refusal("TB0I47H1RTR01S")

    assert 'character 4, "I", may be "1"' in error.what
    assert slips("TB0I47H1RTR01S")[0].likely


def test_without_a_likely_slip_every_place_is_suspect():
    assert "any single character may be wrong" in refusal("TB0147H2RTR01S").what


def test_a_right_tag_has_no_slips():
    assert slips(RIGHT) == ()


def test_each_slip_leads_to_a_right_tag():
    found = slips("TB0147H2RTR01S")

    assert {parse_tag(slip.tag) for slip in found} == {slip.tag for slip in found}


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "0 characters is too short"),
        ("AB1", "too short"),
        ("A" * 34, "too long"),
        ("TB0147*1RTR01S", 'character 7, "\\*", cannot stand there'),
        ("TB0147Ä1RTR01S", 'character 7, "Ä", cannot stand there'),
        ("TB0147.1RTR01S", 'character 7, "."'),
    ],
)
def test_what_is_no_tag_is_refused_with_its_reason(typed: str, words: str):
    with pytest.raises(TagError, match=words):
        parse_tag(typed)


def test_a_body_with_other_characters_or_of_the_wrong_length_makes_no_tag():
    with pytest.raises(TagError, match="digits and letters"):
        tag_of("TB0147*")
    with pytest.raises(TagError, match="too short"):
        tag_of("AB1")
    with pytest.raises(TagError, match="too long"):
        tag_of("A" * 33)


def test_the_star_is_a_check_character_like_any_other():
    tag = next(t for t in (tag_of(f"QM207LRTR{n:02d}") for n in range(99)) if t.endswith("*"))

    assert parse_tag(tag) == tag
