"""The accessibility checker of the tests is the one that was looked at, with its licence."""

from pathlib import Path

import pytest

from spinproof.files.digest import sha256_of_file

VENDOR = Path(__file__).parent / "vendor"
PINNED = {
    "axe.min.js": "29348999450cdf2849a8e70b7912fc2da85a849da39c0d0d5394f51d4a9ed95c",
    "axe.LICENSE.txt": "af175b9d96ee93c21a036152e1b905b0b95304d4ae8c2c921c7609100ba8df7e",
    "axe.LICENSE-3RD-PARTY.txt": "4f8563870d0fca38bbc3e00b6f670cb7fa9f380ba9f26a7f7d1184a6b18b1653",
}
"""SHA-256 of the files of axe-core 4.14.1 (MPL-2.0); it is used in tests only, never shipped."""


@pytest.mark.parametrize("name", PINNED)
def test_vendored_files_are_those_that_were_looked_at(name: str):
    assert sha256_of_file(VENDOR / name) == PINNED[name]
