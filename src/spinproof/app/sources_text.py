"""A channel map as the TOML text that people edit."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from spinproof.files.durable import write_durably
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import DocumentError

_DEFAULTS: dict[str, Any] = {
    "word_order": "big",
    "registers": "input",
    "is_regular": True,
    "scale": 1.0,
    "offset": 0.0,
    "relative_uncertainty": 0.0,
}


def map_text(channel_map: ChannelMap, remarks: Mapping[str, str] | None = None) -> str:
    """Write a channel map as TOML.

    Parameters
    ----------
    channel_map : ChannelMap
        The map.
    remarks : mapping, optional
        A comment for a channel, by its name.

    Returns
    -------
    str
        The text; read back, it gives the same map.
    """
    document = channel_map.to_document()
    lines = _pairs(document, leave={"channels", "streams"})
    for channel in document["channels"]:
        lines += ["", "[[channels]]", *_channel(channel, remarks or {})]
    for stream in document["streams"]:
        lines += ["", "[[streams]]", *_pairs(stream, leave={"channels"})]
        for channel in stream["channels"]:
            lines += ["", "[[streams.channels]]", *_channel(channel, remarks or {})]
    return "\n".join(lines) + "\n"


def write_draft(path: Path, text: str) -> None:
    """Write a drafted map into a new file.

    Raises
    ------
    DocumentError
        If a file of that name is there already.
    """
    if path.exists():
        raise DocumentError(
            "a file of that name is there already",
            where=str(path),
            mend="Name a new file for the draft.",
        )
    write_durably(path, text.encode())


def _channel(channel: Mapping[str, Any], remarks: Mapping[str, str]) -> list[str]:
    remark = " ".join(remarks.get(channel["name"], "").split())
    return [*([f"# {remark}"] if remark else []), *_pairs(channel, leave=set())]


def _pairs(table: Mapping[str, Any], leave: set[str]) -> list[str]:
    return [
        f"{key} = {_value(value)}"
        for key, value in table.items()
        if key not in leave and value is not None and _DEFAULTS.get(key) != value
    ]


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(_pairs(value, leave=set())) + " }"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
