"""The page of words explains every state that a page can show."""

from spinproof.web.glossary import GROUPS
from spinproof.web.wording import SHAPES

PLAIN = {"yes", "no"}


def test_every_word_with_a_shape_is_explained():
    explained = [word for _, words in GROUPS for word, _ in words]

    assert set(map(str, SHAPES)) - PLAIN - set(explained) == set()
    assert set(explained) - set(map(str, SHAPES)) == set()
    assert len(explained) == len(set(explained))


def test_every_meaning_is_a_sentence():
    meanings = [meaning for _, words in GROUPS for _, meaning in words]

    assert all(text[0].isupper() and text.endswith(".") for text in meanings)
