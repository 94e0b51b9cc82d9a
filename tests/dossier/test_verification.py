"""Verification of packages that are whole, and of what is no package."""

import shutil

import pytest

from spinproof.dossier.verification import verify_package
from spinproof.model.errors import PackageError


def test_a_whole_package_verifies_and_says_what_was_checked(package):
    result = verify_package(package)

    assert result.ok
    assert result.findings == ()
    assert result.checked[0] == "316 files have the sums of the list, and no other is there"
    assert "attempts 79 = counted 54 + void 22 + relevant failure 1 + invalid 2" in result.checked
    assert "80 judgements name the trace, recipe, head and limits that are inside" in result.checked


def test_without_a_fingerprint_from_outside_it_says_what_it_was_compared_with(package):
    assert verify_package(package).trust == "verified against the key inside the package only"


@pytest.mark.parametrize("spell", [str, str.lower, lambda f: f.replace(" ", ":"), "  {}\n".format])
def test_the_fingerprint_may_be_typed_in_any_grouping(written, spell):
    package, key = written
    result = verify_package(package, spell(key.fingerprint))

    assert result.ok
    assert result.trust == "verified against the fingerprint that was given"
    assert result.fingerprint == key.fingerprint


@pytest.mark.parametrize("typed", ["", "ABCD", "Z" * 64, "0" * 63, "0" * 65])
def test_what_is_no_fingerprint_is_refused_before_anything_is_checked(package, typed):
    with pytest.raises(PackageError, match="are no fingerprint"):
        verify_package(package, typed)


def test_a_folder_that_is_no_package_is_refused(tmp_path):
    (tmp_path / "notes.txt").write_text("nothing")
    with pytest.raises(PackageError, match="is no package"):
        verify_package(tmp_path)


def test_a_file_and_a_missing_path_are_no_package(tmp_path, package):
    for path in (tmp_path / "missing", package / "dossier.pdf"):
        with pytest.raises(PackageError, match="there is no such folder"):
            verify_package(path)


def test_a_package_verifies_wherever_it_is_copied(package, tmp_path):
    moved = shutil.copytree(package, tmp_path / "in any folder with ünusual name")

    assert verify_package(moved).ok


def test_verifying_changes_nothing(package):
    before = {path: path.stat().st_mtime_ns for path in package.rglob("*")}
    verify_package(package)

    assert {path: path.stat().st_mtime_ns for path in package.rglob("*")} == before
