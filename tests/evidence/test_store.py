"""A file is held whole or not at all."""

import contextlib
import errno
import hashlib
import itertools
import os
import signal
import stat
import subprocess
import sys
import threading

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.evidence.conftest import TEXT, box, pieces_of

from spinproof.evidence import store as store_module
from spinproof.evidence.sniffing import Family, FileType
from spinproof.evidence.store import EvidenceStore
from spinproof.model.errors import EvidenceError, StorageError


def names_in(store):
    return sorted(path.name for path in store.folder.iterdir())


def take_in(store, data, name="note.csv", size=1000):
    with store.receiving(pieces_of(data, size), name) as received:
        return received, store.keep(received)


@pytest.mark.parametrize("size", [1, 7, 5000])
def test_a_file_is_held_under_the_sha256_of_its_bytes_whatever_the_pieces(store, size):
    received, new = take_in(store, TEXT * 500, size=size)

    assert new
    assert received.type is FileType.TEXT
    assert received.size == 500 * len(TEXT)
    assert received.sha256 == hashlib.sha256(TEXT * 500).hexdigest()
    assert store.verified(received.sha256).read_bytes() == TEXT * 500
    assert names_in(store) == [received.sha256]


def test_a_held_file_cannot_be_written_to_by_accident(store):
    received, _ = take_in(store, TEXT)

    assert stat.S_IMODE(store.verified(received.sha256).stat().st_mode) & 0o222 == 0


def test_the_same_file_is_recognised_and_held_once(store):
    first, _ = take_in(store, TEXT, "one.csv")
    second, new = take_in(store, TEXT, "two.csv")

    assert not new
    assert second.sha256 == first.sha256
    assert names_in(store) == [first.sha256]


def test_the_right_bytes_mend_a_held_file_that_was_changed(store):
    received, _ = take_in(store, TEXT)
    place = store.verified(received.sha256)
    place.chmod(0o644)
    place.write_bytes(TEXT.replace(b"0,80", b"0,81"))
    with pytest.raises(EvidenceError, match="changed since it was taken in"):
        store.verified(received.sha256)

    take_in(store, TEXT)

    assert store.verified(received.sha256).read_bytes() == TEXT


@pytest.mark.parametrize("sha256", ["0" * 64, "../secret", "", "A" * 64])
def test_a_file_that_is_not_held_is_said_to_be_missing(store, sha256):
    (store.folder.parent / "secret").write_text("x")

    with pytest.raises(EvidenceError, match="no such evidence file"):
        store.verified(sha256)


def test_an_upload_that_never_ends_stops_at_the_limit_and_leaves_nothing(store, monkeypatch):
    monkeypatch.setitem(store_module.LIMITS, Family.TABLE, 2_000_000)
    sent = itertools.count()

    def endless():
        while True:
            next(sent)
            yield b"0.80 mm\n" * 1250

    with pytest.raises(EvidenceError, match="larger than the 2 MB that plain text may have"):
        take_in_pieces(store, endless())

    assert next(sent) == 201
    assert names_in(store) == []


def take_in_pieces(store, pieces, name="note.csv", **settings):
    with store.receiving(pieces, name, **settings) as received:
        store.keep(received)
        return received


def test_a_picture_of_two_gigabytes_stops_after_25_megabytes(store):
    written = []
    pieces = itertools.chain([b"\xff\xd8\xff\xe0"], itertools.repeat(bytes(1_000_000), 2000))

    with pytest.raises(EvidenceError, match="larger than the 25 MB that a JPEG picture may have"):
        take_in_pieces(store, (written.append(len(p)) or p for p in pieces))

    assert sum(written) < 27_000_000
    assert names_in(store) == []


def test_a_broken_connection_passes_through_and_leaves_nothing(store):
    def broken():
        yield TEXT * 1000
        raise ConnectionResetError("the sender is gone")

    with pytest.raises(ConnectionResetError):
        take_in_pieces(store, broken())

    assert names_in(store) == []


@pytest.mark.parametrize(("call", "number"), [("write", errno.ENOSPC), ("fsync", errno.EIO)])
def test_a_disk_that_fails_while_writing_leaves_nothing_half_written(
    store, monkeypatch, call, number
):
    held, _ = take_in(store, TEXT)

    def failing(*_args):
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(os, call, failing)
    with pytest.raises(StorageError, match="nothing of this file is kept, and everything held"):
        take_in(store, TEXT * 2)
    monkeypatch.undo()

    assert names_in(store) == [held.sha256]
    assert store.verified(held.sha256).read_bytes() == TEXT


def test_the_last_room_on_a_disk_is_kept_for_recordings(store):
    full = EvidenceStore(store.folder, reserve=10**18)
    pulled = []

    with pytest.raises(StorageError, match="stay free for recordings") as caught:
        take_in_pieces(full, (pulled.append(1) or piece for piece in pieces_of(TEXT)))
    with pytest.raises(StorageError, match="stay free for recordings"):
        full.keep_bytes(b"x")
    with pytest.raises(StorageError, match="stay free for recordings"):
        take_in_pieces(store, pieces_of(TEXT), announced=10**18)

    assert caught.value.mend.startswith("Free space")
    assert pulled == []
    assert names_in(store) == []


def test_room_is_looked_at_again_while_a_long_film_comes_in(store, monkeypatch):
    usage = store_module.shutil.disk_usage(store.folder)
    room = iter([10**12, 10**12, 10])
    monkeypatch.setattr(
        store_module.shutil, "disk_usage", lambda _path: usage._replace(free=next(room))
    )
    film = itertools.chain([box(b"ftyp", b"isom")], itertools.repeat(bytes(1_000_000), 200))

    with pytest.raises(StorageError, match="stay free for recordings"):
        take_in_pieces(EvidenceStore(store.folder, reserve=1000), film, "run.mp4")

    assert names_in(store) == []


def test_a_folder_that_is_missing_is_said_so(tmp_path):
    with pytest.raises(StorageError, match="Create the folder"):
        take_in_pieces(EvidenceStore(tmp_path / "missing", reserve=0), [TEXT])


def test_what_a_killed_program_left_is_removed_but_what_is_coming_in_is_not(store):
    code = (
        "import sys; from pathlib import Path; from spinproof.evidence.store import EvidenceStore\n"
        "def endless():\n"
        "    yield b'0.80 mm' * 1000\n"
        "    print('waiting', flush=True)\n"
        "    sys.stdin.read()\n"
        "store = EvidenceStore(Path(sys.argv[1]), reserve=0)\n"
        "with store.receiving(endless(), 'x.csv') as received: pass\n"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", code, str(store.folder)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    with child:
        assert child.stdout.readline() == b"waiting\n"
        first, _ = take_in(store, TEXT)
        coming = [name for name in names_in(store) if name.endswith(".upload")]
        child.send_signal(signal.SIGKILL)

    second, _ = take_in(store, TEXT * 2)

    assert len(coming) == 1
    assert names_in(store) == sorted([first.sha256, second.sha256])


def test_a_file_taken_for_a_leftover_before_it_was_locked_is_made_anew(store, monkeypatch):
    lock, swept = store_module.fcntl.flock, []

    def late_lock(descriptor, how):
        if not swept:
            swept.extend(store.folder.iterdir())
            swept[0].unlink()
        lock(descriptor, how)

    monkeypatch.setattr(store_module.fcntl, "flock", late_lock)
    received, _ = take_in(store, TEXT)

    assert len(swept) == 1
    assert store.verified(received.sha256).read_bytes() == TEXT


def test_many_can_send_the_same_file_at_once(store):
    results = []
    threads = [
        threading.Thread(target=lambda: results.append(take_in(store, TEXT * 3000)))
        for _ in range(8)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(results) == 8
    assert len(names_in(store)) == 1


def test_bytes_of_our_own_are_held_under_their_sha256(store):
    sha256, new = store.keep_bytes(b"clean")

    assert new
    assert store.keep_bytes(b"clean") == (sha256, False)
    assert store.verified(sha256).read_bytes() == b"clean"


@given(data=st.binary(max_size=3000))
def test_no_bytes_whatever_raise_anything_but_a_clear_refusal(tmp_path_factory, data):
    store = EvidenceStore(tmp_path_factory.mktemp("store"), reserve=0)
    held = []
    with contextlib.suppress(EvidenceError):
        held = [take_in(store, data)[0].sha256]

    assert names_in(store) == held
