"""The shop's rules as they ship: positions, check sheets and the re-test matrix."""

from pathlib import Path

from spinproof.model.check import CheckSheet
from spinproof.model.documents import parse_document
from spinproof.model.part import PositionSet
from spinproof.model.retest import RetestMatrix

SHOP_DATA = Path(__file__).parents[1] / "src" / "spinproof" / "app" / "shop_data"
SHEET_FILES = ("dry-test", "wet-test", "source-inspection")


def shop_text(name: str) -> str:
    return (SHOP_DATA / name).read_text(encoding="utf-8")


def positions() -> PositionSet:
    return parse_document(shop_text("positions.toml"), PositionSet, "positions.toml")


def sheets() -> tuple[CheckSheet, ...]:
    names = [f"{name}.checks.toml" for name in SHEET_FILES]
    return tuple(parse_document(shop_text(name), CheckSheet, name) for name in names)


def matrix() -> RetestMatrix:
    name = "retest-matrix.toml"
    return parse_document(shop_text(name), RetestMatrix, name)
