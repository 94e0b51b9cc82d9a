"""The signature of dossier.pdf by a PDF library that we did not write: poppler's pdfsig and qpdf.

Levels and names are those of ETSI EN 319 142-1 (PAdES), cited from memory.
"""

import subprocess

import pytest
from tests.dossier.handover_example import small_example, write_example

pytestmark = pytest.mark.source("ETSI EN 319 142-1; poppler", kind="independent route")


@pytest.fixture(scope="module")
def dossier(tmp_path_factory):
    return write_example(small_example(), tmp_path_factory.mktemp("signed"))[0] / "dossier.pdf"


def told_of(path):
    run = subprocess.run(["pdfsig", path], capture_output=True, text=True, check=False)
    return run.stdout


def test_poppler_finds_one_signature_over_the_whole_document(dossier):
    told = told_of(dossier)

    assert "Signature #1" in told
    assert "Signature #2" not in told
    assert "ETSI.CAdES.detached" in told
    assert "SHA-256" in told
    assert "Total document signed" in told
    assert "Signature is Valid" in told


def test_poppler_sees_one_changed_byte(dossier, tmp_path):
    spoilt = bytearray(dossier.read_bytes())
    spoilt[len(spoilt) // 3] ^= 1
    (tmp_path / "spoilt.pdf").write_bytes(bytes(spoilt))

    assert "Signature is Valid" not in told_of(tmp_path / "spoilt.pdf")


def test_qpdf_finds_the_signed_document_sound(dossier):
    run = subprocess.run(["qpdf", "--check", dossier], capture_output=True, text=True, check=False)

    assert run.returncode == 0, run.stdout + run.stderr
