"""Looks at the variables of an OPC UA server."""

import asyncio
from pathlib import Path
from typing import Any

from spinproof.model.channel import CountType
from spinproof.record.sources.library import load_library
from spinproof.record.sources.offer import Offer, Offered, OfferKind
from spinproof.record.sources.opc_ua_session import (
    PACKAGE,
    fingerprint,
    opc_ua_session,
    server_certificate,
)

MOST_NODES = 5000
_UNIT = "EngineeringUnits"
_OWN = "Server"
"""The server's object about itself."""


def look_at_nodes(address: str, *, pinned: str | None = None, keys: Path | None = None) -> Offer:
    """List the variables of a server that hold numbers, with unit and present value.

    Parameters
    ----------
    address : str
        The endpoint's URL.
    pinned : str, optional
        SHA-256 of its certificate; the session is then encrypted.
    keys : Path, optional
        Folder of our own certificate.

    Returns
    -------
    Offer
        The variables, by their place in the server's tree.

    Raises
    ------
    StandError
        If the server cannot be reached, or shows another certificate.
    """
    return asyncio.run(_look(address, pinned, keys))


async def _look(address: str, pinned: str | None, keys: Path | None) -> Offer:
    library = load_library(PACKAGE, address)
    certificate = await server_certificate(address, address)
    async with opc_ua_session(address, address, pinned=pinned, keys=keys) as client:
        found = await _variables(library, client)
        values = await _values(library, client, [node for node, _, _ in found])
        items = [
            offered
            for (node, name, unit), value in zip(found, values, strict=True)
            if (offered := _offered(library, node, name, unit, value)) is not None
        ]
    left = len(found) - len(items)
    remarks = (
        [f"left out, for they hold no single number: {left} of {len(found)} variables"]
        if left
        else []
    )
    if len(found) >= MOST_NODES:
        remarks.append(f"the server has more than {MOST_NODES} variables; the rest is left out")
    return Offer(
        kind=OfferKind.OPC_UA,
        address=address,
        items=tuple(items),
        server_sha256=fingerprint(certificate) if certificate else None,
        remarks=tuple(remarks),
    )


async def _variables(library: Any, client: Any) -> list[tuple[Any, str, str | None]]:
    """Give node, path and unit of each variable, breadth first."""
    classes = library.ua.NodeClass
    found: list[tuple[Any, str, str | None]] = []
    seen = {client.nodes.objects.nodeid}
    waiting = [(client.nodes.objects, "")]
    while waiting and len(found) < MOST_NODES:
        parent, path = waiting.pop(0)
        for child in await parent.get_children_descriptions():
            name = child.BrowseName.Name
            if child.NodeId in seen or (not path and name == _OWN):
                continue
            seen.add(child.NodeId)
            node, place = client.get_node(child.NodeId), f"{path}/{name}" if path else name
            if child.NodeClass == classes.Variable:
                found.append((node, place, await _unit(node)))
            elif child.NodeClass == classes.Object:
                waiting.append((node, place))
    return found


async def _unit(node: Any) -> str | None:
    """Give the unit that a variable states (OPC 10000-8, EUInformation), as it writes it."""
    for own in await node.get_properties():
        if (await own.read_browse_name()).Name == _UNIT:
            stated = await own.read_value()
            text = getattr(getattr(stated, "DisplayName", None), "Text", None)
            return text or None
    return None


async def _values(library: Any, client: Any, nodes: list[Any]) -> list[Any]:
    if not nodes:
        return []
    return list(await client.read_attributes(nodes, library.ua.AttributeIds.Value))


def _offered(library: Any, node: Any, name: str, unit: str | None, value: Any) -> Offered | None:
    variant = value.Value
    content = None if variant is None else variant.Value
    status = value.StatusCode
    bad = status is not None and not status.is_good()
    if not bad and not isinstance(content, int | float):
        return None
    return Offered(
        key=node.nodeid.to_string(),
        name=name,
        place=0,
        type=_types(library).get(getattr(variant, "VariantType", None), CountType.F64),
        value=float(content) if isinstance(content, int | float) and not bad else None,
        unit=unit,
        remark=f"its status is {status.name}" if bad else "",
    )


def _types(library: Any) -> dict[Any, CountType]:
    kinds = library.ua.VariantType
    return {
        kinds.UInt16: CountType.U16,
        kinds.Int16: CountType.I16,
        kinds.UInt32: CountType.U32,
        kinds.Int32: CountType.I32,
        kinds.Float: CountType.F32,
        kinds.Double: CountType.F64,
    }
