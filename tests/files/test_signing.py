"""Signing keys in files: owner's eyes only, never overwritten, damage told in words."""

import errno
import os
import stat
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import ec, rsa

from spinproof.files import signing
from spinproof.files.signing import (
    fingerprint_of_pem,
    is_signed_by_pem,
    load_private_key,
    new_private_key,
    public_pem,
    sign,
    store_private_key,
)
from spinproof.model.errors import BusyError, StorageError


@pytest.fixture
def path(tmp_path: Path) -> Path:
    file = tmp_path / "key.pem"
    store_private_key(file, new_private_key(), "station key")
    return file


def test_a_stored_key_signs_what_its_public_part_verifies(path: Path):
    private = load_private_key(path, "station key")
    signature = sign(private, b"a head")

    assert is_signed_by_pem(public_pem(private), signature, b"a head")
    assert not is_signed_by_pem(public_pem(private), signature, b"a heap")
    assert not is_signed_by_pem(public_pem(new_private_key()), signature, b"a head")
    assert not is_signed_by_pem(public_pem(private), b"no signature", b"a head")


def test_a_key_is_for_its_owner_alone_and_never_overwritten(path: Path):
    before = path.read_bytes()
    with pytest.raises(BusyError, match="a station key lies there already"):
        store_private_key(path, new_private_key(), "station key")

    assert path.read_bytes() == before
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_no_part_of_a_key_stays_on_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def full(descriptor: int, data: bytes) -> None:
        os.write(descriptor, data[:20])
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(signing, "write_all", full)
    with pytest.raises(StorageError, match="no space left"):
        store_private_key(tmp_path / "key.pem", new_private_key(), "station key")

    assert list(tmp_path.iterdir()) == []


def pem_of(private: rsa.RSAPrivateKey | ec.EllipticCurvePrivateKey) -> bytes:
    return private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )


@pytest.mark.parametrize(
    "pem",
    [
        b"-----BEGIN NOTHING-----\n",
        b"",
        pem_of(rsa.generate_private_key(65537, 2048)),
        pem_of(ec.generate_private_key(ec.SECP384R1())),
    ],
    ids=["no key", "empty", "RSA", "another curve"],
)
def test_what_is_no_key_of_this_kind_is_refused(path: Path, pem: bytes):
    path.write_bytes(pem)
    with pytest.raises(StorageError, match="the station key is damaged"):
        load_private_key(path, "station key")


def test_a_missing_key_is_told_in_words(tmp_path: Path):
    with pytest.raises(StorageError, match="no such file"):
        load_private_key(tmp_path / "key.pem", "station key")


@pytest.mark.parametrize("pem", ["", "no key", "-----BEGIN PUBLIC KEY-----\n", "é"])
def test_what_is_no_public_key_verifies_nothing(pem: str):
    assert not is_signed_by_pem(pem, sign(new_private_key(), b"x"), b"x")


def test_a_public_key_of_another_kind_verifies_nothing():
    public = rsa.generate_private_key(65537, 2048).public_key()
    pem = public.public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    ).decode()

    assert not is_signed_by_pem(pem, b"", b"")


def test_a_fingerprint_is_in_groups_of_four(path: Path):
    groups = fingerprint_of_pem(public_pem(load_private_key(path, "station key"))).split(" ")

    assert [len(group) for group in groups] == [4] * 16
