"""The shop's own rules: positions, checks and re-test matrix, as they ship with the program."""

from functools import cache
from importlib.resources import files
from typing import TypeVar

from spinproof.model.check import CheckSheet
from spinproof.model.documents import parse_document
from spinproof.model.noun import Noun
from spinproof.model.part import PositionSet
from spinproof.model.retest import RetestMatrix
from spinproof.model.shop_rules import ShopRules

SHEETS = (
    "dry-test.checks.toml",
    "wet-test.checks.toml",
    "source-inspection.checks.toml",
)

N = TypeVar("N", bound=Noun)


@cache
def shop_rules() -> ShopRules:
    """Give the rules that jobs of the full process are taken in under."""
    return ShopRules(
        name="shop rules",
        positions=_read("positions.toml", PositionSet),
        sheets=tuple(_read(name, CheckSheet) for name in SHEETS),
        matrix=_read("retest-matrix.toml", RetestMatrix),
    )


def _read(name: str, kind: type[N]) -> N:
    text = files("spinproof.app").joinpath("shop_data", name).read_text(encoding="utf-8")
    return parse_document(text, kind, name)
