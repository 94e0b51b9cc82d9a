"""A run begins only when the disk can hold it to its end."""

import shutil
from types import SimpleNamespace

import pytest

from spinproof.model.errors import StorageError
from spinproof.model.stream import SourceKind, StreamSpec
from spinproof.record.disk_room import longest_run_bytes, require_room
from spinproof.record.recorder import longest_run_s


def test_a_run_of_the_demo_needs_less_than_twenty_megabytes(header):
    assert 1e5 < longest_run_bytes(header) < 20e6


def test_a_fast_stream_needs_room_for_each_of_its_counts(header):
    channel = header.channel_map.channels[-1].model_copy(
        update={"name": "vertical", "sample_rate_hz": 10_000.0}
    )
    stream = StreamSpec(
        name="accelerometer",
        source=SourceKind.MQTT,
        address="127.0.0.1:1883",
        topic="head",
        sample_rate_hz=10_000.0,
        channels=(channel,),
    )
    faster = header.model_copy(
        update={"channel_map": header.channel_map.model_copy(update={"streams": (stream,)})}
    )
    more = longest_run_bytes(faster) - longest_run_bytes(header)

    assert more >= 10_000 * 2 * longest_run_s(header.recipe)


def test_a_full_disk_is_told_before_anything_is_begun(header, tmp_path, monkeypatch):
    require_room(tmp_path, header)
    free = longest_run_bytes(header) * 2 - 1
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=free))
    with pytest.raises(StorageError, match=r"MB free, and the run may need .* nothing was begun"):
        require_room(tmp_path, header)
