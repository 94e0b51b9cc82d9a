"""One door for every kind of evidence."""

import hashlib
import io
import os

import pytest
from PIL import Image
from tests.evidence.conftest import TEXT, pieces_of
from tests.evidence.test_pictures import full_jpeg

from spinproof.evidence.identity import ForbiddenWord
from spinproof.evidence.intake import shown_name, take_in
from spinproof.evidence.sniffing import FileType
from spinproof.evidence.vault import make_vault
from spinproof.model.errors import EvidenceError, StorageError


@pytest.fixture
def vault(tmp_path):
    return make_vault(tmp_path / "vault", tmp_path / "vault.key")


def send(store, vault, data, name, forbidden=()):
    return take_in(store, vault, pieces_of(data), name=name, forbidden=forbidden)


def test_a_table_is_held_as_it_came(store, vault):
    taken = send(store, vault, TEXT, "gaps.csv")

    assert taken.sha256 == hashlib.sha256(TEXT).hexdigest()
    assert (taken.type, taken.size, taken.new) == (FileType.TEXT, len(TEXT), True)
    assert (taken.derived_from, taken.notice) == (None, None)


def test_a_picture_is_held_clean_and_its_original_sealed(store, vault):
    photo = full_jpeg()
    taken = send(store, vault, photo, "seal seat.png")

    assert taken.derived_from == hashlib.sha256(photo).hexdigest()
    assert taken.sha256 != taken.derived_from
    assert vault.original(taken.derived_from) == photo
    assert "location" in taken.removed
    assert taken.captured == "2031-05-06T09:08:07+02:00"
    assert taken.notice == 'the name ends in ".png", the content is a JPEG picture'
    held = store.verified(taken.sha256).read_bytes()
    assert hashlib.sha256(held).hexdigest() == taken.sha256
    assert not Image.open(io.BytesIO(held)).getexif()
    assert [path.name for path in store.folder.iterdir()] == [taken.sha256]


def test_the_original_stands_nowhere_unsealed(store, vault, tmp_path):
    photo = full_jpeg()
    send(store, vault, photo, "seal.jpg")

    for path in tmp_path.rglob("*"):
        assert path.is_dir() or b"badefugeruta" not in path.read_bytes()


def test_the_same_picture_sent_twice_is_recognised(store, vault):
    first = send(store, vault, full_jpeg(), "a.jpg")
    second = send(store, vault, full_jpeg(), "b.jpg")

    assert (first.new, second.new) == (True, False)
    assert (first.sha256, first.derived_from) == (second.sha256, second.derived_from)


def test_a_name_that_tells_the_customer_is_refused_before_a_byte_is_read(store, vault):
    pulled = []
    pieces = (pulled.append(1) or piece for piece in pieces_of(full_jpeg()))
    word = ForbiddenWord("a name of OTTER", "Vexmoor")

    with pytest.raises(EvidenceError, match="a name of OTTER in the name of the file") as caught:
        take_in(store, vault, pieces, name="VEX-MOOR gate.jpg", forbidden=[word])

    assert "vex" not in str(caught.value).lower()
    assert pulled == []
    assert not list(store.folder.iterdir())


def test_what_is_no_picture_is_refused_and_nothing_is_held_or_sealed(store, vault):
    with pytest.raises(EvidenceError, match="begins as a JPEG picture"):
        send(store, vault, b"\xff\xd8\xff\xe0" + b"no picture" * 99, "seal.jpg")

    assert not list(store.folder.iterdir())
    assert not (vault.folder / "originals").exists()


def test_a_disk_that_fails_holds_nothing_of_the_picture(store, vault, monkeypatch):
    def failing(*_args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "write", failing)
    with pytest.raises(StorageError):
        send(store, vault, full_jpeg(), "seal.jpg")
    monkeypatch.undo()

    assert not list(store.folder.iterdir())


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("seal.jpg", "seal.jpg"),
        ("C:\\Users\\RT-1\\seal.jpg", "seal.jpg"),
        ("../../etc/passwd", "passwd"),
        ("a\nb\x00c\u202egpj.exe", "abcgpj.exe"),
        ("e\u0301.txt", "\u00e9.txt"),
        ("..", "unnamed"),
        ("", "unnamed"),
        ("x" * 300 + ".parquet", "x" * 72 + ".parquet"),
        ("x" * 300, "x" * 80),
    ],
)
def test_names_are_shown_without_paths_and_tricks(name, shown):
    assert shown_name(name) == shown
