"""The wording of statements: each sentence is used, and gets exactly the values that it names."""

import ast
from pathlib import Path
from string import Formatter

import pytest

from spinproof.dossier import sentences
from spinproof.dossier.sentences import counted, sentence, wording

ROOM = Path(sentences.__file__).parent


def calls(name):
    """Give the calls of a function in the room, by their first argument, with the values given."""
    for path in ROOM.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", None) == name:
                place = 1 if name == "counted" else 0
                texts = [n.value for n in ast.walk(node.args[place]) if isinstance(n, ast.Constant)]
                for text in texts:
                    if isinstance(text, str):
                        yield text, {keyword.arg for keyword in node.keywords}


def fields(text):
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def test_every_sentence_is_used_with_the_values_that_it_names():
    used = list(calls("sentence"))
    known = wording()["sentences"]

    assert {name for name, _ in used} == set(known)
    for name, given in used:
        assert fields(known[name]) == given, name


def test_every_noun_is_used_and_has_both_numbers():
    nouns = wording()["counted"]

    assert {name for name, _ in calls("counted")} == set(nouns)
    for noun in nouns:
        assert counted(1, noun).startswith("1 ")
        assert counted(0, noun).startswith("0 ")
        assert counted(2, noun) != counted(1, noun).replace("1", "2") or noun == "failed"


def test_a_value_with_braces_prints_as_it_is():
    assert "{order}" in sentence("classified", by="{order}")


def test_a_sentence_without_one_of_its_values_is_never_printed():
    with pytest.raises(KeyError, match="order"):
        sentence("ordered", head="QM-207-L")
