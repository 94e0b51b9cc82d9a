"""Packages to break: a copy for each test, and what re-signs them as a forger would."""

import shutil

import pytest
from tests.dossier.handover_example import (
    KEY_MADE_AT,
    PASSPHRASE,
    example,
    small_example,
    write_example,
)

from spinproof.dossier.keys import create_key
from spinproof.dossier.sums import write_list
from spinproof.files.digest import sha256_of_file


@pytest.fixture(scope="session")
def whole(tmp_path_factory):
    """Give the package of the whole demo job and its key."""
    return write_example(example(), tmp_path_factory.mktemp("whole"))


@pytest.fixture(scope="session")
def smallest(tmp_path_factory):
    """Give the smallest package and its key."""
    return write_example(small_example(), tmp_path_factory.mktemp("smallest"))


@pytest.fixture
def package(smallest, tmp_path):
    """Give a copy of the smallest package, to be broken."""
    return shutil.copytree(smallest[0], tmp_path / "package")


@pytest.fixture
def key(smallest):
    """Give the shop's key."""
    return smallest[1]


@pytest.fixture
def forger(tmp_path):
    """Give a key of a forger who uses the shop's name."""
    return create_key(
        tmp_path / "forger", "Quillmere Spindle & Bowl Works", KEY_MADE_AT, PASSPHRASE
    )


def sign_anew(package, key):
    """Write list, certificate and signature as the holder of a key would."""
    (package / "release-cert.pem").write_bytes(key.certificate_pem)
    sums = {
        path.relative_to(package).as_posix(): sha256_of_file(path)
        for path in package.rglob("*")
        if path.is_file() and not path.name.startswith("SHA256SUMS")
    }
    listed = write_list(sums)
    (package / "SHA256SUMS").write_bytes(listed)
    (package / "SHA256SUMS.sig").write_bytes(key.sign(listed))


def found(result):
    """Give the findings as pairs of kind and file."""
    return {(finding.kind.value, finding.file) for finding in result.findings}
