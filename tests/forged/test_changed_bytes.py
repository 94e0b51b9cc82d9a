"""One changed byte anywhere is found, and the file is named."""

from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from spinproof.dossier.verification import verify_package
from spinproof.model.errors import PackageError

CHANGES = settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])


@cache
def files_of(package):
    return sorted(
        path.relative_to(package).as_posix() for path in package.rglob("*") if path.is_file()
    )


def names_the(name, result):
    return any(name in str(finding) for finding in result.findings)


@CHANGES
@given(data=st.data())
def test_any_flipped_byte_in_any_file_is_found_and_named(whole, data):
    package, key = whole
    name = data.draw(st.sampled_from(files_of(package)), "file")
    path = package / name
    original = path.read_bytes()
    place = data.draw(st.integers(0, len(original) - 1), "place")
    flip = data.draw(st.integers(1, 255), "flip")
    changed = bytearray(original)
    changed[place] ^= flip
    try:
        path.write_bytes(changed)
        result = verify_package(package, key.fingerprint)
    finally:
        path.write_bytes(original)

    assert not result.ok
    assert names_the(name, result)


@pytest.mark.parametrize("name", ["SHA256SUMS", "SHA256SUMS.sig"])
def test_every_single_bit_of_the_list_and_of_its_signature_counts(package, name):
    path = package / name
    original = path.read_bytes()
    for place in range(len(original)):
        changed = bytearray(original)
        changed[place] ^= 1 << (place % 8)
        path.write_bytes(changed)
        assert names_the(name, verify_package(package)), f"byte {place}"


LENGTHS = {
    "longer": lambda original: original + b"\n",
    "shorter": lambda original: original[:-1],
    "empty": lambda original: original[:0],
}


@pytest.mark.parametrize("length", LENGTHS)
def test_a_file_of_another_length_is_found_and_named(package, length):
    for name in sorted(p.relative_to(package).as_posix() for p in package.rglob("*.*")):
        path = package / name
        original = path.read_bytes()
        path.write_bytes(LENGTHS[length](original))
        assert names_the(name, verify_package(package)), name
        path.write_bytes(original)


def test_an_undisturbed_package_verifies_after_all_that(whole):
    assert verify_package(whole[0], whole[1].fingerprint).ok


@CHANGES
@given(listed=st.binary(max_size=200), signature=st.binary(max_size=100))
def test_any_bytes_as_list_and_signature_are_found_without_an_error(package, listed, signature):
    (package / "SHA256SUMS").write_bytes(listed)
    (package / "SHA256SUMS.sig").write_bytes(signature)
    result = verify_package(package)

    assert names_the("SHA256SUMS.sig", result)


@CHANGES
@given(certificate=st.binary(max_size=400))
def test_any_bytes_as_certificate_are_found_without_an_error(package, certificate):
    (package / "release-cert.pem").write_bytes(certificate)

    assert names_the("release-cert.pem", verify_package(package))


def test_a_package_of_nothing_but_an_empty_list_is_told_in_findings(tmp_path):
    (tmp_path / "SHA256SUMS").write_bytes(b"# files: 0\n")
    result = verify_package(tmp_path)

    assert names_the("the list is empty", result)
    assert names_the("dossier.pdf", result)


def test_an_empty_folder_is_no_package(tmp_path):
    with pytest.raises(PackageError):
        verify_package(tmp_path)
