"""Locks that end with their holder."""

import signal
import subprocess
import sys

import pytest

from spinproof.files.lock import hold
from spinproof.model.errors import BusyError, StorageError

HOLDER = """
import sys
from pathlib import Path
from spinproof.files.lock import hold
with hold(Path(sys.argv[1]), "head QM-207-L"):
    print("held", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def holder(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(tmp_path / "head")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    assert process.stdout.readline() == b"held\n"
    yield process
    process.kill()
    process.communicate()


def test_what_another_process_holds_is_busy_and_named(tmp_path, holder):
    with (
        pytest.raises(BusyError, match="head QM-207-L is in use"),
        hold(tmp_path / "head", "head QM-207-L"),
    ):
        pass


def test_a_killed_holder_leaves_nothing_locked(tmp_path, holder):
    holder.send_signal(signal.SIGKILL)
    holder.wait()

    with hold(tmp_path / "head", "head QM-207-L"):
        pass


def test_a_lock_excludes_a_second_place_in_the_same_process_and_ends_with_its_block(tmp_path):
    path = tmp_path / "head"
    with hold(path, "the head"), pytest.raises(BusyError), hold(path, "the head"):
        pass

    with hold(path, "the head"):
        pass


def test_holding_a_file_never_changes_it(tmp_path):
    path = tmp_path / "run.journal"
    path.write_bytes(b"frames")
    with hold(path, "run 17"):
        pass

    assert path.read_bytes() == b"frames"


def test_a_lock_in_a_missing_folder_says_so(tmp_path):
    with (
        pytest.raises(StorageError, match="Create the folder"),
        hold(tmp_path / "missing" / "head", "the head"),
    ):
        pass
