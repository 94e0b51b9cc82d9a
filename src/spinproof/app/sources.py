"""Look at what a source offers, and draft a channel map from it."""

from dataclasses import dataclass
from pathlib import Path

from spinproof.model.channel import UNITS as ROLE_UNITS
from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.channel_map import ChannelMap
from spinproof.model.errors import DocumentError
from spinproof.model.quantity import UNITS
from spinproof.model.stream import RegisterKind, SourceKind, StreamSpec, WordOrder
from spinproof.record.sources.look_modbus import look_at_registers, look_at_stand
from spinproof.record.sources.look_mqtt import look_at_topic
from spinproof.record.sources.look_opc_ua import look_at_nodes
from spinproof.record.sources.offer import Offer as Offer
from spinproof.record.sources.offer import Offered as Offered
from spinproof.record.sources.offer import OfferKind as OfferKind
from spinproof.record.sources.offer import PairReading as PairReading
from spinproof.record.sources.registers import width

NOT_NAMED = "not named yet"
"""Instrument of a draft; a map that still holds it is not ready."""
_POLL_HZ = 10.0
_AS_KNOWN = 0.02
_LONGEST_NAME = 80
_SPELLED = {text: u.symbol for u in UNITS.values() for text in (u.symbol, *u.spellings) if text}


@dataclass(frozen=True)
class Place:
    """Where to look, and for what.

    Attributes
    ----------
    kind : OfferKind
        What to expect there.
    address : str
        HOST:PORT; for OPC UA the endpoint's URL.
    topic : str
        For MQTT; # listens to all topics.
    unit_id : int
        For Modbus and a stand.
    registers : RegisterKind
        For Modbus.
    first, count : int
        For Modbus: the range of registers.
    messages : int
        For MQTT: how many to wait for.
    seconds : float
        For MQTT: how long at most. [s]
    pinned : str or None
        For OPC UA: SHA-256 of the server's certificate; the session is then encrypted.
    keys : Path or None
        Folder of our own certificate, for an encrypted session.
    """

    kind: OfferKind
    address: str
    topic: str = "#"
    unit_id: int = 1
    registers: RegisterKind = RegisterKind.INPUT
    first: int = 0
    count: int = 40
    messages: int = 20
    seconds: float = 10.0
    pinned: str | None = None
    keys: Path | None = None


def look(place: Place) -> Offer:
    """Look at what a source offers, with live values; nothing is ever written to it.

    Parameters
    ----------
    place : Place
        Where.

    Returns
    -------
    Offer
        What is there.

    Raises
    ------
    StandError
        If the source cannot be reached, or has nothing to show.
    """
    if place.kind is OfferKind.STAND:
        return look_at_stand(place.address, unit_id=place.unit_id)
    if place.kind is OfferKind.OPC_UA:
        return look_at_nodes(place.address, pinned=place.pinned, keys=place.keys)
    if place.kind is OfferKind.MQTT:
        return look_at_topic(
            place.address, place.topic, messages=place.messages, seconds=place.seconds
        )
    return look_at_registers(
        place.address,
        SourceKind(place.kind.value),
        unit_id=place.unit_id,
        registers=place.registers,
        first=place.first,
        count=place.count,
    )


@dataclass(frozen=True)
class Match:
    """Registers that read a known value, and in which way.

    Attributes
    ----------
    item : Offered
        The first register.
    pair : PairReading
        The reading that fits.
    """

    item: Offered
    pair: PairReading


def that_read(offer: Offer, known: float) -> tuple[Match, ...]:
    """Find the registers that read a value which somebody sees at the device at this moment.

    Parameters
    ----------
    offer : Offer
        Registers, as they were just looked at.
    known : float
        The value, in the counts of the device. [counts]

    Returns
    -------
    tuple of Match
        Register pairs, types and orders that lie within 2 % of it, the closest first.
    """
    found = [
        Match(item, pair)
        for item in offer.items
        for pair in item.pairs
        if abs(pair.value - known) <= _AS_KNOWN * abs(known)
    ]
    return tuple(sorted(found, key=lambda match: abs(match.pair.value - known)))


def propose(
    offer: Offer,
    head: str,
    *,
    take: CountType | None = None,
    order: WordOrder = WordOrder.BIG,
    name: str | None = None,
) -> ChannelMap:
    """Draft a channel map of all that a source offers; a person names, sorts out and completes.

    Parameters
    ----------
    offer : Offer
        What the source offers.
    head : str
        Designation of the head.
    take : CountType, optional
        For Modbus: what to take the registers for; 16-bit counts when left out.
    order : WordOrder
        For Modbus: how values of two registers lie.
    name : str, optional
        Name of the stream.

    Returns
    -------
    ChannelMap
        The draft. Its instruments are not named, so `check_map` refuses it until they are.

    Raises
    ------
    DocumentError
        If the offer holds nothing, or several topics.
    """
    if not offer.items:
        raise DocumentError(
            "the source offers nothing that could become a channel",
            where=offer.address,
            mend="Look at another range, topic or address.",
        )
    if offer.topic is not None and set(offer.topic) & {"#", "+"}:
        raise DocumentError(
            "several topics came: a stream is one topic",
            where=f"{offer.address}, topic {offer.topic}",
            mend="Look again, at one of the topics that are listed.",
        )
    rate = offer.rate_hz or _POLL_HZ
    channels = _draft_channels(offer, take, rate)
    unit_id = offer.unit_id or 1
    if offer.kind is OfferKind.STAND:
        return ChannelMap(name=f"stand, {head}", head=head, unit_id=unit_id, channels=channels)
    stream = StreamSpec(
        name=name or offer.kind.value,
        source=SourceKind(offer.kind.value),
        address=offer.address,
        topic=offer.topic,
        unit_id=offer.unit_id,
        registers=offer.registers or RegisterKind.INPUT,
        word_order=order,
        sample_rate_hz=rate,
        is_regular=offer.kind is not OfferKind.OPC_UA,
        channels=channels,
    )
    return ChannelMap(name=f"{stream.name}, {head}", head=head, unit_id=unit_id, streams=(stream,))


def _draft_channels(offer: Offer, take: CountType | None, rate: float) -> tuple[Channel, ...]:
    items = list(offer.items)
    if take is not None and offer.registers is not None:
        places = {item.place for item in items}
        reach = width(take)
        items = [
            item
            for item in items
            if (item.place - items[0].place) % reach == 0 and item.place + reach - 1 in places
        ]
    named = {item.key for item in items if offer.kind in {OfferKind.OPC_UA, OfferKind.MQTT}}
    names = _names(items)
    taken: set[Role] = set()
    return tuple(
        _draft(
            item,
            names[column],
            node=item.key if item.key in named else None,
            place=column if named else item.place,
            kind=take if take is not None and offer.registers is not None else item.type,
            rate=rate,
            taken=taken,
        )
        for column, item in enumerate(items)
    )


def _draft(
    item: Offered,
    name: str,
    *,
    node: str | None,
    place: int,
    kind: CountType,
    rate: float,
    taken: set[Role],
) -> Channel:
    unit = _SPELLED.get(item.unit or "", item.unit or "1")
    role = _only_role(unit)
    if role in taken:
        role = Role.OTHER
    taken.add(role)
    return Channel(
        name=name,
        role=role,
        first_register=place,
        node=node,
        type=kind,
        unit=unit,
        sample_rate_hz=rate,
        instrument=Instrument(name=NOT_NAMED, standard_uncertainty=0.0),
    )


def _only_role(unit: str) -> Role:
    """Give the one role that is read in a unit, if there is only one."""
    roles = [role for role, own in ROLE_UNITS.items() if own == unit]
    return roles[0] if len(roles) == 1 else Role.OTHER


def _names(items: list[Offered]) -> list[str]:
    """Give short names that differ: the last part of a path, or more of it."""
    short = [item.name.rpartition("/")[2] for item in items]
    chosen = [
        item.name if short.count(name) > 1 else name
        for item, name in zip(items, short, strict=True)
    ]
    names: list[str] = []
    for name in chosen:
        text = name.strip()[-_LONGEST_NAME:] or "channel"
        again = sum(each == text for each in names)
        names.append(f"{text[: _LONGEST_NAME - 5]} ({again + 1})" if again else text)
    return names
