"""Listens to what a broker's topics carry."""

import asyncio
import json
import math
import struct
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from spinproof.model.channel import CountType
from spinproof.model.errors import StandError
from spinproof.record.sources.address import host_and_port
from spinproof.record.sources.library import load_library
from spinproof.record.sources.messages import CODES, DTYPES, HEAD, MAGIC
from spinproof.record.sources.mqtt import AT_LEAST_ONCE, PACKAGE
from spinproof.record.sources.offer import Offer, Offered, OfferKind


def look_at_topic(address: str, topic: str, *, messages: int = 20, seconds: float = 10.0) -> Offer:
    """Listen to some messages, and list what they carry.

    Parameters
    ----------
    address : str
        HOST:PORT of the broker.
    topic : str
        The topic; wildcards (+ and #) look at several at once.
    messages : int
        How many messages to wait for.
    seconds : float
        How long at most. [s]

    Returns
    -------
    Offer
        Keys, or columns of blocks, with their last value; several topics are told apart by name.

    Raises
    ------
    StandError
        If the broker cannot be reached, or nothing came.
    """
    heard = asyncio.run(_listen(address, topic, messages, seconds))
    if not heard:
        raise StandError(
            f"no message came within {seconds:g} s",
            where=f"{address}, topic {topic}",
            mend="Check the topic, and that its source sends; # listens to all topics.",
        )
    items = [
        item for name in sorted(heard) for item in _items(name, heard[name], alone=len(heard) == 1)
    ]
    rates = [each.rate_hz for each in heard.values() if each.rate_hz]
    strange = sum(each.strange for each in heard.values())
    return Offer(
        kind=OfferKind.MQTT,
        address=address,
        items=tuple(items),
        rate_hz=rates[0] if len(heard) == 1 and rates else None,
        topic=next(iter(heard)) if len(heard) == 1 else topic,
        remarks=(f"{strange} messages are of neither form",) if strange else (),
    )


@dataclass
class _Heard:
    """What a topic carried."""

    values: dict[str, Any] = field(default_factory=dict)
    kind: CountType = CountType.F64
    first: tuple[int, int] | None = None
    last: tuple[int, int] | None = None
    strange: int = 0

    @property
    def rate_hz(self) -> float | None:
        """Samples a second, by the source's own clock."""
        if self.first is None or self.last is None or self.last[1] <= self.first[1]:
            return None
        return 1e9 * (self.last[0] - self.first[0]) / (self.last[1] - self.first[1])

    def take(self, payload: bytes) -> None:
        """Note a message."""
        told = _block(payload) if payload.startswith(MAGIC) else _named(payload)
        if told is None:
            self.strange += 1
            return
        sample, time_ns, values, self.kind = told
        self.values.update(values)
        self.first = self.first or (sample, time_ns)
        self.last = sample, time_ns


async def _listen(address: str, topic: str, messages: int, seconds: float) -> dict[str, _Heard]:
    library = load_library(PACKAGE, address)
    host, port = host_and_port(address, "look")
    heard: dict[str, _Heard] = {}
    try:
        async with asyncio.timeout(seconds), library.Client(host, port, timeout=seconds) as client:
            await client.subscribe(topic, qos=AT_LEAST_ONCE)
            count = 0
            async for message in client.messages:
                if not message.retain:
                    heard.setdefault(str(message.topic), _Heard()).take(bytes(message.payload))
                    count += 1
                if count >= messages:
                    break
    except TimeoutError:
        return heard
    except (library.MqttError, OSError) as error:
        raise StandError(
            f"the broker cannot be reached ({error})",
            where=address,
            mend="Check the broker's address, and that it lets this machine subscribe.",
        ) from error
    return heard


def _named(payload: bytes) -> tuple[int, int, dict[str, Any], CountType] | None:
    try:
        message = json.loads(payload)
        sequence, time_ns, values = (message[k] for k in ("sequence", "time_ns", "values"))
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    if (
        not isinstance(values, dict)
        or not isinstance(sequence, int)
        or not isinstance(time_ns, int)
    ):
        return None
    return sequence, time_ns, values, CountType.F64


def _block(payload: bytes) -> tuple[int, int, dict[str, Any], CountType] | None:
    try:
        _, code, channels, samples, _, _, first, time_ns = HEAD.unpack_from(payload)
    except struct.error:
        return None
    if code not in CODES or not samples:
        return None
    dtype = np.dtype(DTYPES[CODES[code]])
    last = HEAD.size + (samples - 1) * channels * dtype.itemsize
    try:
        row = np.frombuffer(payload, dtype, channels, last).tolist()
    except ValueError:
        return None
    return first, time_ns, {f"column {i}": value for i, value in enumerate(row)}, CODES[code]


def _items(topic: str, heard: _Heard, *, alone: bool) -> list[Offered]:
    items = []
    for place, (key, value) in enumerate(heard.values.items()):
        number = isinstance(value, int | float) and not isinstance(value, bool)
        finite = float(value) if number and math.isfinite(value) else None
        items.append(
            Offered(
                key=key,
                name=key if alone else f"{topic}: {key}",
                place=place,
                type=heard.kind,
                value=finite,
                remark="" if finite is not None or value is None else "no number",
            )
        )
    return items
