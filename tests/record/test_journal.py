"""The journal: what it keeps when the recorder, the disk or the power fails."""

import errno
import os

import numpy as np
import pytest
from tests.record.raw_run import BLOCK_NS, LAYOUT, RUN, make_block, write_journal

from spinproof.model.errors import JournalError, StorageError
from spinproof.model.run import Ending
from spinproof.record import journal as journal_module
from spinproof.record.frames import FrameKind, frame_bytes, split_frames
from spinproof.record.journal import JournalFollower, JournalWriter, Opening
from spinproof.record.journal_reading import read_journal

BLOCKS = [make_block(n) for n in range(12)]


@pytest.fixture
def opening(header):
    return Opening(header=header, run_number=RUN, layout=LAYOUT)


@pytest.fixture
def path(tmp_path):
    return tmp_path / "run.journal"


def frame_starts(data):
    starts, at = [], 0
    for frame in split_frames(data)[0]:
        starts.append(at)
        at += len(frame_bytes(*frame))
    return [*starts, at]


def is_part_of_blocks(read):
    """Tell whether blocks are missing at most, and none was changed or moved."""
    return list(read.blocks) == [block for block in BLOCKS if block in read.blocks]


def test_a_closed_journal_holds_header_blocks_and_ending(path, header, opening):
    write_journal(path, header, BLOCKS, ending=Ending.STAND_LOST)

    read = read_journal(path)

    assert read.opening == opening
    assert list(read.blocks) == BLOCKS
    assert read.ending is Ending.STAND_LOST
    assert read.left_out == 0


def test_a_journal_that_nobody_closed_has_no_ending(path, header):
    write_journal(path, header, BLOCKS, ending=None)

    assert read_journal(path).ending is None


def test_a_tail_torn_at_any_byte_costs_the_last_frame_alone(path, header):
    write_journal(path, header, BLOCKS[:3], ending=None)
    data = path.read_bytes()
    last = frame_starts(data)[-2]

    for length in range(last, len(data)):
        path.write_bytes(data[:length])
        read = read_journal(path)
        assert list(read.blocks) == BLOCKS[:2]
        assert read.left_out == length - last


def test_a_torn_closing_frame_leaves_the_recording_unfinished(path, header):
    write_journal(path, header, BLOCKS[:3])
    path.write_bytes(path.read_bytes()[:-1])

    read = read_journal(path)

    assert list(read.blocks) == BLOCKS[:3]
    assert read.ending is None
    assert read.left_out > 0


def test_damage_in_the_middle_is_an_error_that_names_the_offset(path, header):
    write_journal(path, header, BLOCKS, ending=None)
    data = bytearray(path.read_bytes())
    start = frame_starts(bytes(data))[2]
    data[start + 30] ^= 4
    path.write_bytes(data)

    with pytest.raises(JournalError, match=f"offset {start}") as caught:
        read_journal(path)

    assert "2 frames stand before it and 10 behind it" in caught.value.what


@pytest.mark.parametrize("ending", [None, Ending.COMPLETE])
def test_no_flipped_bit_changes_a_block_unseen(path, header, ending):
    write_journal(path, header, BLOCKS, ending=ending)
    data = path.read_bytes()
    rng = np.random.default_rng(35)
    found = 0
    for bit in rng.choice(8 * len(data), 400, replace=False).tolist():
        changed = bytearray(data)
        changed[bit // 8] ^= 1 << bit % 8
        path.write_bytes(changed)
        try:
            read = read_journal(path)
        except JournalError:
            found += 1
            continue
        assert read.left_out > 0
        assert read.ending is None
        assert is_part_of_blocks(read)
        found += 1

    assert found == 400


def test_whole_frames_behind_a_torn_one_are_kept(path, header):
    write_journal(path, header, BLOCKS, ending=None)
    data = bytearray(path.read_bytes())
    start = frame_starts(bytes(data))[8]
    data[start + 30] ^= 4
    path.write_bytes(data)

    read = read_journal(path)

    assert list(read.blocks) == BLOCKS[:7] + BLOCKS[8:]
    assert read.left_out == len(frame_bytes(FrameKind.BLOCK, 0, BLOCKS[7]))


def test_bytes_behind_the_closing_frame_are_an_error(path, header):
    write_journal(path, header, BLOCKS[:2])
    path.write_bytes(path.read_bytes() + b"more")

    with pytest.raises(JournalError, match="damaged in the middle"):
        read_journal(path)


@pytest.mark.parametrize("content", [b"", b"SPJ1", b"time [s],DI flow [L/min]\n0,1\n"])
def test_a_file_without_an_opening_frame_is_no_journal(path, content):
    path.write_bytes(content)

    with pytest.raises(JournalError, match="opening frame"):
        read_journal(path)


def test_an_opening_of_another_version_is_refused_as_such(path):
    path.write_bytes(frame_bytes(FrameKind.OPENING, 0, b'{"run":1}'))

    with pytest.raises(JournalError, match="not understood"):
        read_journal(path)


def test_a_journal_is_never_written_twice(path, header):
    write_journal(path, header, BLOCKS[:2])
    before = path.read_bytes()

    with pytest.raises(JournalError, match="holds a recording already"):
        write_journal(path, header, BLOCKS)

    assert path.read_bytes() == before


def test_short_writes_give_the_same_bytes(tmp_path, header, monkeypatch):
    whole = write_journal(tmp_path / "whole", header, BLOCKS).read_bytes()
    write, rng = os.write, np.random.default_rng(6)
    monkeypatch.setattr(
        os,
        "write",
        lambda fd, data: write(fd, bytes(data)[: rng.integers(1, len(data), endpoint=True)]),
    )

    assert write_journal(tmp_path / "pieces", header, BLOCKS).read_bytes() == whole


class SmallDisk:
    """Takes a number of bytes, the last of them by a short write, and is full then."""

    def __init__(self, room):
        self.room = room
        self._write = os.write

    def write(self, descriptor, data):
        """Stand in for the system's write."""
        if self.room <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        taken = self._write(descriptor, bytes(data)[: self.room])
        self.room -= taken
        return taken


def write_all_blocks(path, opening, acknowledged):
    with JournalWriter(path, opening, 0) as writer:
        for block in BLOCKS:
            writer.append_block(block, 0)
            acknowledged.append(block)
        writer.close(Ending.COMPLETE, 0)


def test_a_full_disk_keeps_every_block_that_was_acknowledged(path, opening, monkeypatch):
    full = len(write_journal(path, opening.header, BLOCKS).read_bytes())
    for room in range(full - 1800, full, 97):
        path.unlink()
        acknowledged = []
        with monkeypatch.context() as patched:
            patched.setattr(os, "write", SmallDisk(room).write)
            with pytest.raises(StorageError, match="sealed at the next start") as caught:
                write_all_blocks(path, opening, acknowledged)
        read = read_journal(path)

        assert "no space left" in caught.value.what
        assert "Free space" in caught.value.mend
        assert list(read.blocks) == acknowledged
        assert (read.ending, read.left_out) == (None, 0)


def test_after_a_failed_write_nothing_more_goes_to_that_file(path, opening, monkeypatch):
    with JournalWriter(path, opening, 0) as writer:
        writer.append_block(BLOCKS[0], 0)
        with monkeypatch.context() as patched:
            patched.setattr(os, "write", SmallDisk(0).write)
            with pytest.raises(StorageError):
                writer.append_block(BLOCKS[1], 0)
        with pytest.raises(StorageError):
            writer.append_block(BLOCKS[2], 0)

    assert list(read_journal(path).blocks) == BLOCKS[:1]


def test_a_failed_flush_is_not_repeated(path, opening, monkeypatch):
    calls = []

    def failing(descriptor):
        calls.append(descriptor)
        raise OSError(errno.EIO, "Input/output error")

    with JournalWriter(path, opening, 0) as writer:
        writer.append_block(BLOCKS[0], 0)
        monkeypatch.setattr(os, "fdatasync", failing)
        writer.keep_durable(2_000_000_000)
        with pytest.raises(StorageError, match="input/output error"):
            writer.wait_durable()
        with pytest.raises(StorageError):
            writer.append_block(BLOCKS[1], 2_000_000_000)

    assert len(calls) == 1


def test_an_interrupt_in_the_middle_of_a_write_leaves_no_half_frame(path, opening, monkeypatch):
    write = os.write

    def interrupted(descriptor, data):
        write(descriptor, bytes(data)[:20])
        raise KeyboardInterrupt

    with JournalWriter(path, opening, 0) as writer:
        writer.append_block(BLOCKS[0], 0)
        with monkeypatch.context() as patched:
            patched.setattr(os, "write", interrupted)
            with pytest.raises(KeyboardInterrupt):
                writer.append_block(BLOCKS[1], 0)
        writer.close(Ending.INTERRUPTED, 0)
    read = read_journal(path)

    assert list(read.blocks) == BLOCKS[:1]
    assert (read.ending, read.left_out) == (Ending.INTERRUPTED, 0)


def test_no_frame_waits_longer_than_a_second_for_the_disk(path, header, monkeypatch):
    synced, fdatasync = [], os.fdatasync
    monkeypatch.setattr(os, "fdatasync", lambda fd: synced.append(os.fstat(fd).st_size))
    write_journal(path, header, BLOCKS, ending=None)
    monkeypatch.setattr(os, "fdatasync", fdatasync)

    starts = frame_starts(path.read_bytes())
    per_second = 1_000_000_000 // BLOCK_NS
    assert synced == [starts[1], *starts[6::per_second]]


class PowerCut:
    """Remembers every write and flush, and builds what a power cut could leave."""

    def __init__(self, monkeypatch):
        self.steps = []
        write_all, fdatasync = journal_module.write_all, os.fdatasync

        def noting_write(descriptor, data):
            self.steps.append(bytes(data))
            write_all(descriptor, data)

        def noting_sync(descriptor):
            fdatasync(descriptor)
            self.steps.append(None)

        monkeypatch.setattr(journal_module, "write_all", noting_write)
        monkeypatch.setattr(os, "fdatasync", noting_sync)

    def states(self, rng):
        """Give (safe frames, file) for a cut after each step; later writes survive at random."""
        for cut in range(1, len(self.steps) + 1):
            done = self.steps[:cut]
            synced = max((i for i, step in enumerate(done) if step is None), default=-1)
            safe = [step for step in done[:synced] if step is not None]
            loose = [step for step in done[synced + 1 :] if step is not None]
            yield len(safe), b"".join(safe) + b"".join(self._worn(step, rng) for step in loose)

    @staticmethod
    def _worn(step, rng):
        """Keep a write, lose it but for its length, or tear it at a sector."""
        match rng.integers(3):
            case 0:
                return step
            case 1:
                return bytes(len(step))
            case _:
                kept = 128 * int(rng.integers(0, len(step) // 128 + 1))
                return step[:kept] + bytes(len(step) - kept)


def test_a_power_cut_at_any_moment_keeps_all_that_was_flushed(tmp_path, header, monkeypatch):
    cut, rng = PowerCut(monkeypatch), np.random.default_rng(2)
    write_journal(tmp_path / "run.journal", header, BLOCKS)
    states = 0
    for _ in range(20):
        for safe, data in cut.states(rng):
            if safe == 0:
                continue
            (tmp_path / "cut").write_bytes(data)
            read = read_journal(tmp_path / "cut")
            assert list(read.blocks)[: safe - 1] == BLOCKS[: safe - 1]  # the opening is one
            assert is_part_of_blocks(read)
            states += 1

    assert states > 300


def test_a_follower_gives_each_sample_once_however_the_file_grows(path, header, tmp_path):
    write_journal(tmp_path / "source", header, BLOCKS)
    data = (tmp_path / "source").read_bytes()
    follower, rng = JournalFollower(path), np.random.default_rng(9)
    rows, at = [], 0
    assert follower.poll() == {}
    with path.open("wb", buffering=0) as file:
        while at < len(data):
            size = int(rng.integers(1, 600))
            file.write(data[at : at + size])
            at += size
            if new := follower.poll():
                rows += new["tach"].time_s.tolist()
    follower.close()

    assert rows == [row * 0.05 for row in range(60)] or rows == [
        row * 50_000 / 1e6 for row in range(60)
    ]
    assert follower.opening.header == header
    assert follower.ending is Ending.COMPLETE


def test_a_follower_sees_the_end_of_a_journal_that_was_sealed_away(path, header):
    write_journal(path, header, BLOCKS[:2], ending=None)
    follower = JournalFollower(path)
    follower.poll()
    with path.open("ab") as file:
        file.write(frame_bytes(FrameKind.CLOSING, 1, b'{"ending":"complete"}'))
    path.unlink()

    assert follower.poll() == {}
    assert follower.ending is Ending.COMPLETE
    follower.close()
