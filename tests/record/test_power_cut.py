"""A power cut at any moment of recording and sealing loses no frame that was flushed.

Every write, flush, rename and removal of a recording and its seal is noted. From the notes each
state is rebuilt that a cut could leave: what was flushed, and of each later write all, none, a
half, a part up to a sector, or nothing but its length. Changes of names count as durable and in
order, as on a file system with a journal: what holds here holds at least there.
"""

import os
import threading
from collections import defaultdict
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
from tests.record.streams_run import FAST, SLOW, Fed, header_with, now_s, stream_block

from spinproof.record.fast_file import verified
from spinproof.record.frames import FrameKind, split_frames
from spinproof.record.recorder import Pace, record_run
from spinproof.record.recovery import recover_journals
from spinproof.record.streams import stream_entry
from spinproof.record.trace_file import read_trace, seal_journal

BLOCKS = 8
SECTOR = 512
VARIANTS = 6
"""Ways in which the later writes may have come out, tried at each cut."""


class Step(NamedTuple):
    """One change of the disk."""

    what: str
    file: int
    data: bytes = b""
    size: int = 0
    name: str = ""


class NotedDisk:
    """Notes what changes the disk below a folder, from whatever thread."""

    def __init__(self, root, monkeypatch):
        self.steps = []
        self._root = root
        self._lock = threading.RLock()
        self._files = {}
        self._sizes = defaultdict(int)
        self._count = 0
        for name in ("open", "write", "fsync", "fdatasync", "replace", "unlink", "close"):
            monkeypatch.setattr(os, name, self._wrapped(name, getattr(os, name)))

    def _wrapped(self, name, call):
        def noted(*args, **kwargs):
            return getattr(self, f"_{name}")(call, *args, **kwargs)

        return noted

    def _open(self, call, path, flags, *args, **kwargs):
        with self._lock:
            descriptor = call(path, flags, *args, **kwargs)
            if flags & os.O_WRONLY and Path(path).is_relative_to(self._root):
                self._count += 1
                self._files[descriptor] = self._count
                self.steps.append(Step("open", self._count, name=str(path)))
            return descriptor

    def _write(self, call, descriptor, data):
        with self._lock:
            taken = call(descriptor, data)
            if file := self._files.get(descriptor):
                self._sizes[file] += taken
                self.steps.append(Step("write", file, data=bytes(data[:taken])))
            return taken

    def _sync(self, call, descriptor):
        file = self._files.get(descriptor, 0)
        size = self._sizes[file]  # what is written while it goes on is not said to be safe
        call(descriptor)
        with self._lock:
            self.steps.append(Step("sync", file, size=size))

    _fsync = _fdatasync = _sync

    def _replace(self, call, source, target):
        with self._lock:
            call(source, target)
            self.steps.append(Step("rename", 0, data=str(source).encode(), name=str(target)))

    def _unlink(self, call, path, *args, **kwargs):
        with self._lock:
            call(path, *args, **kwargs)
            self.steps.append(Step("unlink", 0, name=str(path)))

    def _close(self, call, descriptor):
        with self._lock:
            self._files.pop(descriptor, None)
            call(descriptor)


class Cut:
    """The disk after a number of steps."""

    def __init__(self, steps):
        self.names = {}
        self.writes = defaultdict(list)
        self.safe = defaultdict(int)
        for step in steps:
            match step.what:
                case "open":
                    self.names[step.name] = step.file
                case "write":
                    self.writes[step.file].append(step.data)
                case "sync":
                    self.safe[step.file] = max(self.safe[step.file], step.size)
                case "rename":
                    self.names[step.name] = self.names.pop(step.data.decode())
                case "unlink":
                    self.names.pop(step.name, None)

    def content(self, file, rng):
        """Give a file as the cut may have left it."""
        left, at, safe = [], 0, self.safe[file]
        for data in self.writes[file]:
            kept = max(0, min(len(data), safe - at))
            left.append(data[:kept] + worn(data[kept:], rng))
            at += len(data)
        return b"".join(left)


def worn(data, rng):
    """Keep a write, lose it, half of it, or all but its length, or tear it at a sector."""
    torn = SECTOR * int(rng.integers(0, len(data) // SECTOR + 1))
    kept = [len(data), 0, len(data) // 2, torn][int(rng.integers(4))]
    filled = data[:kept] + bytes(len(data) - kept)
    return data[:kept] if rng.integers(2) else filled


def flushed_samples(steps):
    """Give the numbers of the fast samples that were flushed, by the end of these steps."""
    cut = Cut(steps)
    journals = {s.file for s in steps if s.what == "open" and s.name.endswith(".journal")}
    numbers = set()
    for file in journals:
        frames, _ = split_frames(b"".join(cut.writes[file])[: cut.safe[file]])
        for frame in frames:
            if frame.kind is FrameKind.STREAM:
                entry = stream_entry(frame.payload, 0, 0)
                if entry.stream == 0:
                    numbers |= set(range(entry.first_sample, entry.end))
    return numbers


def recovered_samples(journals, traces):
    """Recover what a cut left, as the next start does; give the numbers of the fast samples."""
    assert [r.problem for r in recover_journals(journals, traces) if r.problem] == []
    assert list(journals.iterdir()) == []
    found = []
    for path in traces.glob("*.parquet"):
        for file in read_trace(path).fast:
            reader = verified(traces / f"{file.sha256}.fast", file.sha256)
            found += [int(n) for batch in reader.batches() for n in batch[:, 0]]
    return found


def blocks_of(spec):
    """Give blocks that arrive as they are made."""
    for n in range(BLOCKS):
        yield stream_block(spec, n, arrival_s=now_s())


@pytest.fixture
def noted(tmp_path, monkeypatch):
    """Record and seal one run, and give the folder and the steps that it took."""
    root = tmp_path / "disk"
    (root / "traces").mkdir(parents=True)
    with monkeypatch.context() as patched:
        disk = NotedDisk(root, patched)
        patched.setattr("spinproof.record.journal.SYNC_NS", 2_000_000)
        sources = [Fed(FAST, blocks_of(FAST), 0.004), Fed(SLOW, blocks_of(SLOW), 0.004)]
        journal = root / "QA-1041-L-017.journal"
        record_run(
            None,
            header_with(FAST, SLOW),
            journal,
            sources=sources,
            stop=lambda: all(source.done.is_set() for source in sources),
            pace=Pace(poll_s=0.001),
        )
        seal_journal(journal, root / "traces")
    return root, disk.steps


def test_a_power_cut_loses_nothing_flushed_and_nothing_comes_back_changed(
    noted, tmp_path, monkeypatch
):
    root, steps = noted
    monkeypatch.setattr(os, "fsync", lambda _descriptor: None)  # the states are made to be read
    rng = np.random.default_rng(3)
    states, flushed_most = 0, 0
    for cut_after in range(1, len(steps) + 1):
        cut, flushed = Cut(steps[:cut_after]), flushed_samples(steps[:cut_after])
        flushed_most = max(flushed_most, len(flushed))
        for variant in range(VARIANTS):
            place = tmp_path / f"{cut_after}-{variant}"
            (place / "traces").mkdir(parents=True)
            (place / "journals").mkdir()
            for name, file in cut.names.items():
                path = Path(name).relative_to(root)
                into = place if path.parts[0] == "traces" else place / "journals"
                (into / path).write_bytes(cut.content(file, rng))
            found = recovered_samples(place / "journals", place / "traces")
            assert found == sorted(set(found))
            assert flushed <= set(found) <= set(range(BLOCKS * 500))
            states += 1
    assert states > 250
    assert flushed_most == BLOCKS * 500
