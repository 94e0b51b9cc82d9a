"""What a source offers, live, and the draft of a channel map from it."""

import ipaddress
import re
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import Response

from spinproof.app.sources import Match, Offer, OfferKind, Place, look, propose, that_read
from spinproof.app.sources_check import Finding, check_map
from spinproof.app.sources_text import map_text
from spinproof.model.channel import CountType
from spinproof.model.errors import DocumentError, SpinproofError
from spinproof.model.stream import RegisterKind, WordOrder
from spinproof.web.faults import Fault, fault_of
from spinproof.web.rendering import render
from spinproof.web.shop import Shop

router = APIRouter()

LISTEN_S = 3.0
"""How long a page waits for messages of a broker. [s]"""
MESSAGES = 10
PAIRED = (CountType.F32, CountType.U32, CountType.I32)


class Asked(BaseModel):
    """What somebody wants to look at; nothing until a kind is named."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: OfferKind | None = None
    address: Annotated[str, Field(max_length=200)] = ""
    topic: Annotated[str, Field(max_length=200)] = "#"
    unit_id: Annotated[int, Field(ge=0, le=247)] = 1
    first: Annotated[int, Field(ge=0, le=65535)] = 0
    count: Annotated[int, Field(ge=1, le=120)] = 20
    registers: RegisterKind = RegisterKind.INPUT
    take: CountType = CountType.F32
    order: WordOrder = WordOrder.BIG
    known: Annotated[str, Field(max_length=30)] = ""
    live: bool = False

    def place(self, kind: OfferKind) -> Place:
        """Give where to look."""
        return Place(
            kind=kind,
            address=self.address.strip(),
            topic=self.topic,
            unit_id=self.unit_id,
            registers=self.registers,
            first=self.first,
            count=self.count,
            messages=MESSAGES,
            seconds=LISTEN_S,
        )


@dataclass(frozen=True)
class Found:
    """What was there, and what came of it."""

    offer: Offer | None = None
    draft: str = ""
    findings: tuple[Finding, ...] = ()
    matches: tuple[Match, ...] = ()
    pairs: dict[str, list[str]] = field(default_factory=dict)
    fault: Fault | None = None


@router.get("/heads/{head}/sources")
def show(shop: Shop, head: str, asked: Annotated[Asked, Query()]) -> Response:
    """Look at a source when one is named: what it offers now, and the map that would read it."""
    try:
        found = _found(head, asked)
    except SpinproofError as error:
        found = Found(fault=fault_of(error, shop.home.root))
    return render(
        "sources.html",
        head=shop.head(head),
        asked=asked,
        found=found,
        kinds=tuple(OfferKind),
        takes=PAIRED,
        orders=tuple(WordOrder),
        registers=tuple(RegisterKind),
        simulated=False,
    )


def _found(head: str, asked: Asked) -> Found:
    if asked.kind is None:
        return Found()
    place = asked.place(asked.kind)
    _require_near(place.address)
    known = _number(asked.known) if asked.known.strip() else None
    offer = look(place)
    take = asked.take if offer.registers is not None else None
    channel_map = propose(offer, head, take=take, order=asked.order)
    return Found(
        offer=offer,
        draft=map_text(channel_map),
        findings=check_map(channel_map),
        matches=() if known is None else that_read(offer, known),
        pairs=_pairs(offer, asked.take),
    )


def _pairs(offer: Offer, take: CountType) -> dict[str, list[str]]:
    """Give each register with its next in all four orders, as the chosen type."""
    return {
        item.key: [
            f"{pair.value:.6g}{'' if pair.is_likely else ' ·'}"
            for pair in item.pairs
            if pair.type is take
        ]
        for item in offer.items
        if item.pairs
    }


def _require_near(address: str) -> None:
    """Refuse addresses beyond the shop's own network: the bench is never on the internet.

    Raises
    ------
    DocumentError
        If the address lies beyond, or is none.
    """
    host = re.sub(r"^opc\.tcp://", "", address).split("/")[0].rsplit(":", 1)[0].strip("[]")
    try:
        is_near = ipaddress.ip_address(host).is_private
    except ValueError:
        is_near = host == "localhost" or (host != "" and "." not in host) or host.endswith(".local")
    if not is_near:
        raise DocumentError(
            "the pages look only at addresses inside the shop's own network",
            where=f'the address "{address}"',
            mend="Give HOST:PORT with a private address; `spinproof sources look` takes any.",
        )


def _number(known: str) -> float:
    try:
        return float(known.strip().replace(",", "."))
    except ValueError as error:
        raise DocumentError(
            f'"{known}" is no number',
            where="the known value",
            mend="Type what the device shows just now, for example 12.5.",
        ) from error
