"""A session with an OPC UA server; encrypted where the map pins the server's certificate."""

import asyncio
import hashlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from spinproof.model.errors import DocumentError, SpinproofError, StandError
from spinproof.record.sources.library import load_library

PACKAGE = "asyncua"
ANSWER_S = 4.0
"""How long an answer is awaited. [s]"""
_POLICY = "Basic256Sha256"
_MEND = (
    "Check the endpoint's URL, for example opc.tcp://gateway-2:4840, and that the server trusts "
    "our certificate where it asks for one."
)


@asynccontextmanager
async def opc_ua_session(
    address: str, where: str, *, pinned: str | None = None, keys: Path | None = None
) -> AsyncIterator[Any]:
    """Hold a session with a server.

    Parameters
    ----------
    address : str
        The endpoint's URL.
    where : str
        What needs it, for messages.
    pinned : str, optional
        SHA-256 of the server's certificate; the session is then signed and encrypted.
    keys : Path, optional
        Folder of our own certificate, which is made at the first encrypted session.

    Yields
    ------
    asyncua.Client
        The session.

    Raises
    ------
    StandError
        If the server cannot be reached, refuses us, or shows another certificate than the pinned.
    SpinproofError
        If whoever uses the session raises one.
    """
    library = load_library(PACKAGE, where)
    try:
        client = library.Client(address, timeout=ANSWER_S)
        if pinned is not None:
            await _secure(library, client, pinned, _folder(keys, where), where)
        await client.connect()
    except SpinproofError:
        raise  # which is an OSError, too
    except (OSError, TimeoutError, ValueError, library.ua.UaError) as error:
        raise StandError(_no_session(address, error), where=where, mend=_MEND) from error
    try:
        yield client
    except SpinproofError:
        raise
    except (OSError, TimeoutError, library.ua.UaError) as error:
        raise StandError(
            f"the session with the server broke ({_short(error)})",
            where=where,
            mend="Check the network and the server.",
        ) from error
    finally:
        await _leave(client)


def fingerprint(der: bytes) -> str:
    """Give the SHA-256 of a certificate."""
    return hashlib.sha256(der).hexdigest()


async def server_certificate(address: str, where: str) -> bytes | None:
    """Ask a server for its certificate without a session; None when it has none.

    Raises
    ------
    StandError
        If the server cannot be reached.
    """
    library = load_library(PACKAGE, where)
    try:
        client = library.Client(address, timeout=ANSWER_S)
        return await _certificate(client)
    except (OSError, TimeoutError, ValueError, library.ua.UaError) as error:
        raise StandError(_no_session(address, error), where=where, mend=_MEND) from error


async def _certificate(client: Any) -> bytes | None:
    endpoints = await client.connect_and_get_server_endpoints()
    certificates = [e.ServerCertificate for e in endpoints if e.ServerCertificate]
    return certificates[0] if certificates else None


async def _secure(library: Any, client: Any, pinned: str, keys: Path, where: str) -> None:
    shown = await _certificate(client)
    print_shown = "none" if shown is None else fingerprint(shown)
    if shown is None or print_shown != pinned:
        raise StandError(
            f"the server shows another certificate than the map trusts: it shows {print_shown}, "
            f"the map has {pinned}",
            where=where,
            mend="Ask who runs the server whether its certificate was renewed; only then put the "
            "new fingerprint into the map (server_sha256).",
        )
    own, key = await client.setup_self_signed_certificate(
        keys / "opc-ua.key.pem", keys / "opc-ua.der"
    )
    policies = load_library(f"{PACKAGE}.crypto.security_policies", where)
    crypto = load_library(f"{PACKAGE}.crypto.uacrypto", where)
    await client.set_security(
        getattr(policies, f"SecurityPolicy{_POLICY}"),
        certificate=own,
        private_key=key,
        server_certificate=crypto.CertProperties(shown, extension="der"),
        mode=library.ua.MessageSecurityMode.SignAndEncrypt,
    )


def _folder(keys: Path | None, where: str) -> Path:
    if keys is None:
        raise DocumentError(
            "an encrypted session needs a folder for our own certificate",
            where=where,
            mend="Name the home folder.",
        )
    return keys


async def _leave(client: Any) -> None:
    try:
        await asyncio.wait_for(client.disconnect(), ANSWER_S)
    except Exception:  # noqa: BLE001 - the server may be gone; what it says at parting is nothing
        return


def _no_session(address: str, error: Exception) -> str:
    return f"no session with the server at {address} ({_short(error)})"


def _short(error: Exception) -> str:
    return (str(error).partition("\n")[0] or type(error).__name__)[:200]
