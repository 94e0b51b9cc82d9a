"""The wording of a dossier's statements: data, so that it can be translated and read as a whole."""

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

LANGUAGE = "en"


def sentence(name: str, /, **values: object) -> str:
    """Give a sentence with its values put in.

    Parameters
    ----------
    name : str
        Its name in the file of wordings.
    **values : object
        What stands in braces there.

    Returns
    -------
    str
        The sentence.

    Examples
    --------
    >>> sentence("other-head", head="QM-207-U")
    'Head QM-207-U is not the subject of this dossier, which claims nothing about it.'
    """
    return str(wording()["sentences"][name]).format_map(values)


def counted(count: int, noun: str) -> str:
    """Give a number with its noun in singular or plural.

    >>> counted(1, "wafer"), counted(13, "wafer")
    ('1 wafer', '13 wafers')
    """
    one, many = wording()["counted"][noun]
    return str(one if count == 1 else many).format(count=count)


def word(name: str, otherwise: str | None = None) -> str:
    """Give a word, or another where the wording has none of its own for it."""
    return str(wording()["words"].get(name, otherwise or name))


def not_said() -> tuple[str, ...]:
    """Give what a number of good runs does not say, whatever the number."""
    return tuple(wording()["not-said"]["items"])


@cache
def wording(language: str = LANGUAGE) -> Mapping[str, Any]:
    """Give the file of wordings of a language, as it stands."""
    path = Path(__file__).with_name(f"statements.{language}.toml")
    return tomllib.loads(path.read_text("utf-8"))
