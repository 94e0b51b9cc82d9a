"""Files of others inside the package: exactly those that were looked at, each with its licence."""

import pytest

from spinproof.files.digest import sha256_of_file
from spinproof.web.application import STATIC

VENDOR = STATIC / "vendor"
PINNED = {
    "uPlot.iife.min.js": "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f",
    "uPlot.min.css": "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
    "uPlot.LICENSE.txt": "8f989229699b4fe2f1a0432d0e9edc338a8a911e250e2d1b01ecd770a5f5b1bd",
}
"""SHA-256 of the files of uPlot 1.6.32."""


def test_no_other_file_is_vendored():
    assert {path.name for path in VENDOR.iterdir()} == set(PINNED)


@pytest.mark.parametrize("name", PINNED)
def test_vendored_files_are_those_that_were_looked_at(name: str):
    assert sha256_of_file(VENDOR / name) == PINNED[name]


def test_the_licence_stands_beside_the_files():
    assert "MIT License" in (VENDOR / "uPlot.LICENSE.txt").read_text()
    assert "v1.6.32" in (VENDOR / "uPlot.iife.min.js").read_text()[:80]
