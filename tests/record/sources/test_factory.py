"""The source of each kind of stream, and what a missing library says."""

import sys

import pytest
from tests.demo_files import LOWER_CHANNELS
from tests.record.sources.peers import Registers, channel, modbus_server, stream

from spinproof.model.errors import DocumentError, StandError
from spinproof.model.stream import SourceKind
from spinproof.record.sources.factory import source_of
from spinproof.record.sources.modbus import ModbusSource
from spinproof.record.sources.mqtt import MqttSource
from spinproof.record.sources.opc_ua import OpcUaSource
from spinproof.record.sources.source import NoticeKind

CHANNELS = (channel("seal", 0, node="ns=2;s=seal"),)


@pytest.mark.parametrize(
    ("kind", "source", "more"),
    [
        (SourceKind.MODBUS_TCP, ModbusSource, {}),
        (SourceKind.MODBUS_RTU_OVER_TCP, ModbusSource, {}),
        (SourceKind.OPC_UA, OpcUaSource, {}),
        (SourceKind.MQTT, MqttSource, {"topic": "bench"}),
    ],
)
def test_each_kind_has_its_source_by_the_name_of_the_stream(kind, source, more):
    made = source_of(stream(CHANNELS, kind, **more), LOWER_CHANNELS)

    assert isinstance(made, source)
    assert made.name == "gauges"
    assert made.notices == ()
    made.stop()  # one that was never started stops at once


def test_a_modbus_stream_without_a_unit_has_that_of_its_map():
    assert source_of(stream(CHANNELS), LOWER_CHANNELS).stream.unit_id == LOWER_CHANNELS.unit_id
    assert source_of(stream(CHANNELS, unit_id=9), LOWER_CHANNELS).stream.unit_id == 9


def test_a_file_is_no_live_source():
    with pytest.raises(DocumentError, match="no live source"):
        source_of(stream(CHANNELS, SourceKind.FILE))


@pytest.mark.parametrize("address", ["gateway", "gateway:", ":502", "gateway:99999", "gateway:x"])
def test_what_is_no_address_is_refused(address):
    with pytest.raises(DocumentError, match="is not the address of a device"):
        source_of(stream(CHANNELS, SourceKind.MQTT, topic="bench", address=address))


@pytest.mark.parametrize(
    ("kind", "package", "more"),
    [
        (SourceKind.OPC_UA, "asyncua", {"address": "opc.tcp://127.0.0.1:9"}),
        (SourceKind.MQTT, "aiomqtt", {"address": "127.0.0.1:9", "topic": "bench"}),
    ],
)
def test_a_library_that_is_not_installed_is_named_with_the_remedy(
    kind, package, more, monkeypatch, inbox
):
    monkeypatch.setitem(sys.modules, package, None)
    source = source_of(stream(CHANNELS, kind, **more))

    with pytest.raises(StandError, match=rf'needs the package {package}.*"spinproof\[sources\]"'):
        source.start(inbox)


def test_a_taker_that_fails_is_told_and_ends_the_source():
    """A full disk in the recorder must not look like silence of the device."""

    def full(_block):
        raise OSError("no space left on device")

    registers = Registers()
    with modbus_server(registers):
        spec = stream(CHANNELS, address=f"127.0.0.1:{registers.port}", unit_id=7)
        source = source_of(spec)
        source.start(full)
        source._thread.join(20)
        assert not source._thread.is_alive()

    (notice,) = [n for n in source.notices if n.kind is NoticeKind.STOPPED]
    assert "OSError: no space left on device" in notice.text
