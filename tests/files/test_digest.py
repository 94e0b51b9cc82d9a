"""Hashes of bytes and files."""

import pytest

from spinproof.files.digest import sha256_of_bytes, sha256_of_file
from spinproof.model.errors import StorageError


def test_a_file_has_the_hash_of_its_bytes(tmp_path):
    data = bytes(range(256)) * 10_000
    (tmp_path / "file").write_bytes(data)

    assert sha256_of_file(tmp_path / "file") == sha256_of_bytes(data)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(StorageError) as caught:
        sha256_of_file(tmp_path / "missing")

    assert caught.value.where == str(tmp_path / "missing")
