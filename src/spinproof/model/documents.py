"""TOML text to nouns: recipes, head specs, channel maps, limits and loads.

A wrong file is refused with its name, the line and key, what is wrong, and what would be right.
"""

import re
import tomllib
from typing import TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from spinproof.model.channel_map import ChannelMap
from spinproof.model.check import CheckSheet
from spinproof.model.configuration import Configuration
from spinproof.model.errors import DocumentError
from spinproof.model.head import HeadSpec
from spinproof.model.instrument import InstrumentRecord
from spinproof.model.job import JobFile
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.noun import Noun
from spinproof.model.part import PositionSet
from spinproof.model.recipe import Recipe
from spinproof.model.retest import RetestMatrix
from spinproof.model.vibration import VibrationCalibration
from spinproof.model.weighing import WeighingSheet

N = TypeVar("N", bound=Noun)

KINDS: dict[str, type[Noun]] = {
    "recipe": Recipe,
    "head": HeadSpec,
    "channel-map": ChannelMap,
    "limits": LimitSet,
    "load": Load,
    "job": JobFile,
    "configuration": Configuration,
    "positions": PositionSet,
    "checks": CheckSheet,
    "retest-matrix": RetestMatrix,
    "instrument": InstrumentRecord,
    "weighings": WeighingSheet,
    "vibration-calibration": VibrationCalibration,
}
"""The kinds of TOML files that people write; each has a published JSON Schema."""


def parse_document(text: str, kind: type[N], name: str) -> N:
    """Read a noun from TOML text.

    Parameters
    ----------
    text : str
        The file's text.
    kind : type of Noun
        Which noun the file should hold.
    name : str
        Name of the file, for messages.

    Returns
    -------
    Noun
        The noun, checked.

    Raises
    ------
    DocumentError
        If the text is not TOML, or breaks the noun's schema; the message names every wrong key.
    """
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise DocumentError(
            f"the file is not TOML: {_lower_first(str(error))}",
            where=name,
            mend="Mend that line; text needs quotes, and a key stands once.",
        ) from error
    try:
        return kind.from_document(content)
    except ValidationError as error:
        problems = error.errors(include_url=False)
        shown = "; ".join(_in_words(problem) for problem in problems[:5])
        more = f"; and {len(problems) - 5} more" if len(problems) > 5 else ""
        line = _line_of(text, problems[0]["loc"])
        where = f"{name}, line {line}" if line else name
        raise DocumentError(
            f"the file does not describe a {_title(kind)}: {shown}{more}",
            where=where,
            mend=f"Compare it with `spinproof schema {_kind_name(kind)}` and mend the named keys.",
        ) from error


def _kind_name(kind: type[Noun]) -> str:
    return next(name for name, noun in KINDS.items() if noun is kind)


def _title(kind: type[Noun]) -> str:
    plurals = {
        "limits": "set of limits",
        "positions": "set of positions",
        "checks": "sheet of checks",
        "retest-matrix": "re-test matrix",
    }
    return plurals.get(_kind_name(kind), _kind_name(kind).replace("-", " "))


def _lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]


def _key(loc: tuple[int | str, ...]) -> str:
    key = ""
    for part in loc:
        key += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if key else part
    return key or "the file as a whole"


def _in_words(problem: ErrorDetails) -> str:
    key, given = _key(problem["loc"]), problem["input"]
    match problem["type"]:
        case "missing":
            return f"{key} is missing"
        case "extra_forbidden":
            return f"{key} is not a known key"
        case "value_error":
            return f"{key}: {problem['msg'].removeprefix('Value error, ')}"
        case _:
            shown = repr(given) if not isinstance(given, dict | list) else "a table"
            return f"{key} is {shown}: {_lower_first(problem['msg']).replace('input ', 'it ')}"


def _line_of(text: str, loc: tuple[int | str, ...]) -> int | None:
    """Find the line of a key: the n-th header of its table, then the key's name from there."""
    lines = text.splitlines()
    start, found = 0, None
    for position, part in enumerate(loc):
        if isinstance(part, int):
            table = re.escape(str(loc[position - 1]))
            headers = [
                number
                for number, line in enumerate(lines)
                if number >= start and re.match(rf"\s*\[\[(.*\.)?{table}\]\]", line)
            ]
            if part < len(headers):
                start = found = headers[part]
        else:
            pattern = rf"\s*(\[+(.*\.)?)?{re.escape(part)}\s*[=\]]"
            for number in range(start, len(lines)):
                if re.match(pattern, lines[number]):
                    start = found = number
                    break
    return None if found is None else found + 1
