"""Files that are either the old one or the new one, whole."""

import errno
import os
import stat

import pytest

from spinproof.files import durable
from spinproof.files.durable import storage_errors, write_all, write_durably
from spinproof.model.errors import StorageError


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "settings.json"
    write_durably(path, b"old")
    return path


def fail_with(number):
    def failing(*_args, **_kwargs):
        raise OSError(number, os.strerror(number))

    return failing


def test_a_file_holds_what_was_written_and_nothing_else_is_left_over(file):
    write_durably(file, b"new" * 100_000)

    assert file.read_bytes() == b"new" * 100_000
    assert [path.name for path in file.parent.iterdir()] == ["settings.json"]


def test_a_new_file_has_the_rights_that_the_umask_leaves(file):
    plain = file.with_name("plain")
    plain.write_bytes(b"")

    assert stat.S_IMODE(file.stat().st_mode) == stat.S_IMODE(plain.stat().st_mode)


def test_an_empty_file_can_be_written(file):
    write_durably(file, b"")

    assert file.read_bytes() == b""


def test_content_and_name_are_synced_before_the_call_returns(file, monkeypatch):
    done = []
    fsync, replace = os.fsync, type(file).replace

    def noting_fsync(descriptor):
        done.append("folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file")
        fsync(descriptor)

    def noting_replace(self, target):
        done.append("rename")
        return replace(self, target)

    monkeypatch.setattr(os, "fsync", noting_fsync)
    monkeypatch.setattr(type(file), "replace", noting_replace)
    write_durably(file, b"new")

    assert done == ["file", "rename", "folder"]


@pytest.mark.parametrize(
    ("call", "number"),
    [("write", errno.ENOSPC), ("fsync", errno.EIO), ("open", errno.EROFS)],
)
def test_a_failed_write_keeps_the_old_content_and_leaves_no_part(file, monkeypatch, call, number):
    monkeypatch.setattr(os, call, fail_with(number))
    with pytest.raises(StorageError) as caught:
        write_durably(file, b"new")
    monkeypatch.undo()

    assert file.read_bytes() == b"old"
    assert [path.name for path in file.parent.iterdir()] == ["settings.json"]
    assert os.strerror(number).lower() in caught.value.what
    assert caught.value.where == str(file)


def test_a_full_disk_is_answered_with_free_space_and_a_missing_folder_with_creating_it(tmp_path):
    with (
        pytest.raises(StorageError, match="Free space"),
        storage_errors(tmp_path, safe="the first 3 frames are safe"),
    ):
        raise OSError(errno.ENOSPC, "No space left on device")
    with pytest.raises(StorageError, match="Create the folder"):
        write_durably(tmp_path / "missing" / "file", b"x")


def test_an_unknown_error_still_says_what_to_do(tmp_path):
    with pytest.raises(StorageError, match="Check the disk"), storage_errors(tmp_path):
        raise OSError("odd")


def test_short_writes_are_repeated_until_all_bytes_are_there(tmp_path, monkeypatch):
    path = tmp_path / "file"
    write = os.write
    monkeypatch.setattr(durable.os, "write", lambda fd, data: write(fd, bytes(data)[:3]))
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT)
    write_all(descriptor, bytes(range(256)))
    os.close(descriptor)

    assert path.read_bytes() == bytes(range(256))
