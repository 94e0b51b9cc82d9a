"""The source of a stream, by its kind."""

from pathlib import Path

from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import DocumentError
from spinproof.model.stream import SourceKind, StreamSpec
from spinproof.record.sources.modbus import ModbusSource
from spinproof.record.sources.mqtt import MqttSource
from spinproof.record.sources.opc_ua import OpcUaSource
from spinproof.record.sources.source import Source


def source_of(
    stream: StreamSpec, channel_map: ChannelMap | None = None, *, keys: Path | None = None
) -> Source:
    """Give the source that delivers a stream; it connects when it is started.

    Parameters
    ----------
    stream : StreamSpec
        What to deliver.
    channel_map : ChannelMap, optional
        The map it stands in: its unit id holds for a Modbus stream that names none.
    keys : Path, optional
        Folder of our own certificate, for OPC UA servers whose certificate the map pins.

    Returns
    -------
    Source
        The source.

    Raises
    ------
    DocumentError
        If the stream is a file, or its address is none.
    """
    if stream.source in {SourceKind.MODBUS_TCP, SourceKind.MODBUS_RTU_OVER_TCP}:
        if stream.unit_id is None and channel_map is not None:
            stream = stream.model_copy(update={"unit_id": channel_map.unit_id})
        return ModbusSource(stream)
    if stream.source is SourceKind.OPC_UA:
        return OpcUaSource(stream, keys=keys)
    if stream.source is SourceKind.MQTT:
        return MqttSource(stream)
    raise DocumentError(
        "a file is no live source",
        where=f"stream {stream.name}",
        mend="Take the recording in with `spinproof import` after the run.",
    )
