"""The sealed store: what it keeps, what it never shows, and how it says what is wrong."""

import hashlib
import json
import logging
import os
import stat
import subprocess
import sys

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from hypothesis import given
from hypothesis import strategies as st

from spinproof.evidence.identity import Identity, canary
from spinproof.evidence.sealing import UnsealError, seal, unseal
from spinproof.evidence.vault import make_vault, open_vault
from spinproof.model.errors import BusyError, RecordError, SpinproofError, StorageError, VaultError

PASSPHRASE = "four damp towels rotate"  # noqa: S105 - it locks nothing but the test's own store
COST = 4


def otter(**changes):
    fields = {
        "alias": "OTTER",
        "names": ("Vexmoor Lattice Foundry", "Ilse Quarrender"),
        "contacts": ("ilse@vexmoor.example", "+44 7700 900123"),
        "addresses": ("12 Tarnbeck Lane, Skelderby",),
        "orders": {"QA-1041": "PO 40-7716Q"},
        "words": ("Project Nightjar",),
    }
    return Identity(**fields | changes)


@pytest.fixture
def vault(tmp_path):
    vault = make_vault(tmp_path / "vault", PASSPHRASE, cost=COST)
    vault.put(otter())
    return vault


def bytes_of(folder):
    return b"".join(path.read_bytes() for path in folder.rglob("*") if path.is_file())


def test_a_customer_comes_back_as_it_was_entered(vault):
    again = open_vault(vault.folder, PASSPHRASE)

    assert again.aliases() == ("OTTER",)
    assert again.identity("OTTER") == vault.identity("OTTER")
    assert again.identity("OTTER").names == otter().names


def test_nothing_of_a_customer_stands_readable_in_the_files_or_their_names(vault):
    vault.keep_original(b"a picture of the Vexmoor gate")
    names = " ".join(str(path.relative_to(vault.folder)) for path in vault.folder.rglob("*"))
    written = bytes_of(vault.folder)

    for word in vault.forbidden_words("QA-1041", public=True):
        assert word.text.encode() not in written
        assert word.text not in names


def test_a_customer_shows_its_alias_alone_when_printed_or_logged(vault, caplog):
    identity = vault.identity("OTTER")
    words = vault.forbidden_words("QA-1041", public=True)
    logging.getLogger("test").warning("%s %r %s %r", identity, identity, vault, words)

    shown = f"{identity} {identity!r} {[identity]} {vault!r} {words} {caplog.text}"

    assert "OTTER" in shown
    for word in words:
        if word.what != "an alias":
            assert word.text not in shown


def test_a_wrong_entry_is_refused_without_repeating_it():
    with pytest.raises(ValueError, match="names") as caught:
        otter(names=("Vexmoor" * 100,))

    assert "Vexmoor" not in str(caught.value)


def test_a_second_customer_is_added_and_the_same_alias_is_replaced(vault):
    vault.put(otter(alias="HERON", orders={"QA-1042": "PO 22-0953K"}))
    vault.put(otter(words=("Project Dunlin",)))

    assert vault.aliases() == ("HERON", "OTTER")
    assert vault.identity("OTTER").words == ("Project Dunlin",)


def test_a_job_has_one_customer(vault):
    with pytest.raises(RecordError, match="belongs to OTTER already"):
        vault.put(otter(alias="HERON"))

    assert vault.aliases() == ("OTTER",)


def test_an_unknown_customer_is_said_so(vault):
    with pytest.raises(RecordError, match="no such customer"):
        vault.identity("STOAT")


def texts(words):
    return {word.text for word in words}


def test_the_readers_own_order_number_is_allowed_and_nothing_else_is(vault):
    vault.put(otter(alias="HERON", orders={"QA-1042": "PO 22-0953K"}))
    own = texts(vault.forbidden_words("QA-1041"))
    public = texts(vault.forbidden_words("QA-1041", public=True))

    assert public - own == {"PO 40-7716Q"}
    assert own >= {
        "OTTER",
        "HERON",
        "Vexmoor Lattice Foundry",
        "Quarrender",
        "vexmoor",
        "+44 7700 900123",
        "Skelderby",
        "Project Nightjar",
        "PO 22-0953K",
        vault.identity("OTTER").canary,
    }


def test_words_that_point_at_nobody_are_not_forbidden_by_themselves(vault):
    vault.put(otter(names=("Vexmoor Semiconductor Works",)))

    assert texts(vault.forbidden_words("QA-1041")).isdisjoint({"Semiconductor", "Works"})


def test_a_job_without_a_customer_cannot_be_checked(vault):
    with pytest.raises(RecordError, match="nothing can be checked"):
        vault.forbidden_words("QA-1099")


def test_order_tokens_and_canaries_are_drawn_anew_each_time():
    made = [otter() for _ in range(50)]

    assert len({identity.order_token for identity in made}) == 50
    assert len({canary() for _ in range(50)}) == 50


def test_an_original_comes_back_byte_for_byte(vault):
    sha256 = vault.keep_original(bytes(range(256)) * 9)
    vault.keep_original(bytes(range(256)) * 9)

    assert sha256 == hashlib.sha256(bytes(range(256)) * 9).hexdigest()
    assert open_vault(vault.folder, PASSPHRASE).original(sha256) == bytes(range(256)) * 9


@pytest.mark.parametrize("sha256", ["0" * 64, "../../vault", ""])
def test_an_original_that_is_not_held_is_said_so(vault, sha256):
    with pytest.raises(RecordError, match="no such original"):
        vault.original(sha256)


def test_a_wrong_passphrase_is_said_to_be_wrong_and_changes_nothing(vault):
    before = bytes_of(vault.folder)

    with pytest.raises(VaultError, match="the passphrase is wrong"):
        open_vault(vault.folder, PASSPHRASE + " ")

    assert bytes_of(vault.folder) == before


def test_the_way_a_keyboard_composes_letters_makes_no_difference(tmp_path):
    make_vault(tmp_path / "vault", "vierzehn nasse Tücher", cost=COST)

    open_vault(tmp_path / "vault", "vierzehn nasse Tu\u0308cher")


def test_a_short_passphrase_is_refused_before_anything_is_written(tmp_path):
    with pytest.raises(VaultError, match="fewer than 15"):
        make_vault(tmp_path / "vault", "short", cost=COST)

    assert not (tmp_path / "vault" / "vault.json").exists()


def test_a_changed_passphrase_opens_and_the_old_one_no_longer(vault):
    sha256 = vault.keep_original(b"picture")
    vault.change_secret("seven dry combs stand still", cost=COST)

    assert open_vault(vault.folder, "seven dry combs stand still").original(sha256) == b"picture"
    with pytest.raises(VaultError, match="the passphrase is wrong"):
        open_vault(vault.folder, PASSPHRASE)


def test_a_change_of_passphrase_that_fails_leaves_the_old_one(vault, monkeypatch):
    def failing(*_args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", failing)
    with pytest.raises(StorageError):
        vault.change_secret("seven dry combs stand still", cost=COST)
    monkeypatch.undo()

    assert open_vault(vault.folder, PASSPHRASE).aliases() == ("OTTER",)


def test_a_key_file_is_made_at_the_first_start_for_its_owner_alone(tmp_path):
    key = tmp_path / "keys" / "vault.key"
    make_vault(tmp_path / "vault", key).put(otter())

    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    assert open_vault(tmp_path / "vault", key).aliases() == ("OTTER",)


def test_a_key_file_that_others_may_read_is_refused(tmp_path):
    key = tmp_path / "vault.key"
    make_vault(tmp_path / "vault", key)
    key.chmod(0o640)

    with pytest.raises(VaultError, match="its rights are 640") as caught:
        open_vault(tmp_path / "vault", key)

    assert "chmod 600" in caught.value.mend


def test_another_a_damaged_and_a_missing_key_file_are_told_apart(tmp_path):
    key, other = tmp_path / "vault.key", tmp_path / "other.key"
    make_vault(tmp_path / "vault", key)
    make_vault(tmp_path / "elsewhere", other)

    with pytest.raises(VaultError, match="another key file"):
        open_vault(tmp_path / "vault", other)
    key.write_text("0123")
    with pytest.raises(VaultError, match="the key file is damaged"):
        open_vault(tmp_path / "vault", key)
    key.unlink()
    with pytest.raises(StorageError):
        open_vault(tmp_path / "vault", key)


def test_the_wrong_kind_of_key_is_told(tmp_path, vault):
    make_vault(tmp_path / "by-file", tmp_path / "vault.key")

    with pytest.raises(VaultError, match="locked with a passphrase"):
        open_vault(vault.folder, tmp_path / "vault.key")
    with pytest.raises(VaultError, match="locked with a key file"):
        open_vault(tmp_path / "by-file", PASSPHRASE)


def test_a_store_that_is_there_is_never_made_anew(vault):
    with pytest.raises(BusyError, match="a sealed store already"):
        make_vault(vault.folder, PASSPHRASE, cost=COST)

    assert open_vault(vault.folder, PASSPHRASE).aliases() == ("OTTER",)


def test_every_flipped_byte_of_every_file_is_noticed(vault):
    sha256 = vault.keep_original(b"picture")
    for path in [path for path in vault.folder.rglob("*") if path.is_file()]:
        sound = path.read_bytes()
        for at in range(len(sound)):
            path.write_bytes(sound[:at] + bytes([sound[at] ^ 1]) + sound[at + 1 :])
            with pytest.raises(VaultError):
                read_all(vault.folder, sha256)
        path.write_bytes(sound)

    assert read_all(vault.folder, sha256) == b"picture"


def read_all(folder, sha256):
    vault = open_vault(folder, PASSPHRASE)
    vault.identity("OTTER")
    return vault.original(sha256)


def test_two_sealed_files_cannot_change_places(vault):
    first, second = vault.keep_original(b"first"), vault.keep_original(b"second")
    originals = vault.folder / "originals"
    (originals / f"{first}.sealed").replace(originals / f"{second}.sealed")

    with pytest.raises(VaultError, match="or is another one"):
        vault.original(second)


def test_a_store_that_is_missing_or_in_use_is_said_so(tmp_path, vault):
    with pytest.raises(StorageError):
        open_vault(tmp_path / "missing", PASSPHRASE)
    code = (
        "import sys; from pathlib import Path; from spinproof.files.lock import hold\n"
        "with hold(Path(sys.argv[1]), 'it'): print('held', flush=True); sys.stdin.read()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(vault.folder / "vault.lock")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as child:
        assert child.stdout.readline() == b"held\n"
        with pytest.raises(BusyError, match="the sealed store is in use"):
            vault.put(otter(alias="HERON", orders={}))
        child.stdin.close()

    assert vault.aliases() == ("OTTER",)


def test_records_of_another_release_are_said_to_be_so(vault):
    data = b'[{"alias": "OTTER", "names": ["Vexmoor"], "moods": []}]'
    sealed = seal(vault._key, data, b"identities")
    (vault.folder / "identities.sealed").write_bytes(sealed)

    with pytest.raises(VaultError, match="another release"):
        vault.aliases()


def test_the_store_opens_without_this_program(vault):
    """With scrypt of the standard library and AES-GCM, as the documentation says."""
    header = json.loads((vault.folder / "vault.json").read_bytes())
    lock = header["lock"]
    outer = hashlib.scrypt(
        PASSPHRASE.encode(),
        salt=bytes.fromhex(lock["salt"]),
        n=2 ** lock["cost"],
        r=8,
        p=1,
        dklen=32,
    )
    sealed = bytes.fromhex(header["sealed_key"])
    purpose = (
        b"spinproof vault key " + json.dumps(lock, sort_keys=True, separators=(",", ":")).encode()
    )
    key = AESGCM(outer).decrypt(sealed[:12], sealed[12:], purpose)
    records = (vault.folder / "identities.sealed").read_bytes()

    found = json.loads(AESGCM(key).decrypt(records[:12], records[12:], b"identities"))

    assert found[0]["names"] == ["Vexmoor Lattice Foundry", "Ilse Quarrender"]


@given(data=st.binary(max_size=200), purpose=st.binary(max_size=20), other=st.binary(max_size=20))
def test_what_is_sealed_comes_back_for_its_purpose_alone(data, purpose, other):
    key = bytes(range(32))
    sealed = seal(key, data, purpose)

    assert unseal(key, sealed, purpose) == data
    assert len(sealed) == len(data) + 28
    if other != purpose:
        with pytest.raises(UnsealError):
            unseal(key, sealed, other)


@given(data=st.binary(max_size=400))
def test_no_header_whatever_raises_anything_but_a_clear_refusal(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("vault")
    (folder / "vault.json").write_bytes(data)

    with pytest.raises(SpinproofError):
        open_vault(folder, PASSPHRASE)
