"""Packages checked by general tools alone: the commands of VERIFY.txt, word for word.

OpenSSL 3 and GNU coreutils know nothing of this program: they are the independent route to
the signature (FIPS 186-5 ECDSA, X.509) and to the sums (FIPS 180-4 SHA-256).
"""

import shutil
import subprocess

import pytest
from tests.dossier.handover_example import example, small_example, write_example

from spinproof.dossier.instructions import COMMANDS, steps
from spinproof.dossier.verification import verify_package

pytestmark = pytest.mark.source("OpenSSL 3, GNU coreutils sha256sum", kind="independent route")


@pytest.fixture(scope="module")
def smallest(tmp_path_factory):
    return write_example(small_example(), tmp_path_factory.mktemp("tools"))


@pytest.fixture
def package(smallest, tmp_path):
    return shutil.copytree(smallest[0], tmp_path / "package")


def run(package, command):
    """Type one command of the instructions into a shell inside the package."""
    return subprocess.run(
        ["bash", "-o", "pipefail", "-c", command],
        cwd=package,
        capture_output=True,
        text=True,
        check=False,
    )


def accepted_by_tools(package):
    """Follow the instructions as a person would, and say whether all went as they say."""
    shown = [run(package, command) for command in COMMANDS]
    listed = len((package / "SHA256SUMS").read_text("ascii").splitlines()) - 1
    return (
        all(done.returncode == 0 for done in shown)
        and "Verified OK" in shown[2].stdout
        and shown[3].stdout + shown[3].stderr == ""
        and shown[4].stdout.strip() == str(listed + 2)
        and shown[5].stdout == ""
    )


def test_the_instructions_hold_for_the_whole_demo_job(tmp_path):
    package, key = write_example(example(), tmp_path)

    assert accepted_by_tools(package)
    assert verify_package(package, key.fingerprint).ok


def test_every_command_stands_in_the_instructions_word_for_word(package):
    text = (package / "VERIFY.txt").read_text("ascii")
    listed = len((package / "SHA256SUMS").read_text("ascii").splitlines()) - 1

    for command, shown in steps(listed):
        assert f"   {command}\n      {shown}\n" in text


def test_openssl_computes_the_same_fingerprint(package, smallest):
    done = run(package, COMMANDS[0])
    digits = done.stdout.strip().partition("=")[2].replace(":", "")

    assert digits == smallest[1].fingerprint.replace(" ", "")


BREAKS = {
    "a changed trace": lambda p: (p / "runs/QA-1041-L-024.parquet").write_bytes(b"changed"),
    "a removed trace": lambda p: (p / "runs/QA-1041-L-024.parquet").unlink(),
    "an added file": lambda p: (p / "more.txt").write_bytes(b"more"),
    "a link": lambda p: (p / "link").symlink_to("dossier.pdf"),
    "another list": lambda p: (p / "SHA256SUMS").write_bytes(
        (p / "SHA256SUMS").read_bytes().replace(b"# files", b"# Files")
    ),
    "a cut signature": lambda p: (p / "SHA256SUMS.sig").write_bytes(
        (p / "SHA256SUMS.sig").read_bytes()[:-1]
    ),
    "a changed certificate": lambda p: (p / "release-cert.pem").write_bytes(b"none"),
}


@pytest.mark.parametrize("way", BREAKS)
def test_what_the_tools_refuse_is_refused_by_the_check_as_well(package, way):
    assert accepted_by_tools(package)
    BREAKS[way](package)

    assert not accepted_by_tools(package)
    assert not verify_package(package).ok
