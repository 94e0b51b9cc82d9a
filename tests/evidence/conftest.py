"""Stores in a passing folder, and files made for the test."""

import io
import zipfile

import pytest

from spinproof.evidence.store import EvidenceStore

TEXT = b"gap;unit\n0,80;mm\n"


@pytest.fixture
def store(tmp_path):
    folder = tmp_path / "evidence"
    folder.mkdir()
    return EvidenceStore(folder, reserve=0)


def pieces_of(data, size=1000):
    return (data[at : at + size] for at in range(0, len(data), size))


def zip_of(entries, **settings):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, **settings) as archive:
        for name, data in entries:
            archive.writestr(name, data)
    return file.getvalue()


def box(kind, content=b""):
    return (8 + len(content)).to_bytes(4, "big") + kind + content
