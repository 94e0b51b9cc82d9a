"""Which release keys of a shop are good: a list that its root key signs, newer ones with a number.

The root key signs nothing else and need not lie on the machine that releases packages. Whoever
holds the root's fingerprint can follow the shop from one release key to the next.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Annotated, Literal

from cryptography import x509
from pydantic import Field, ValidationError

from spinproof.dossier.keys import ReleaseKey, fingerprint_of
from spinproof.files.canonical import canonical_json
from spinproof.files.signing import (
    PrivateKey,
    fingerprint_of_pem,
    is_signed_by_pem,
    public_pem,
    sign,
)
from spinproof.model.errors import PackageError
from spinproof.model.noun import Name, Noun

KEYS_FILE = "KEYS.json"


class Ended(StrEnum):
    """Why a key is good no more."""

    REPLACED = "replaced"
    """In good order: what it signed stays good."""
    LOST = "lost"
    """Nobody can use it: what it signed before stays good."""
    STOLEN = "stolen"
    """Somebody else may sign with it, and can write any date."""


class ListedKey(Noun):
    """One release key."""

    fingerprint: Annotated[str, Field(pattern="^([0-9A-F]{4} ){15}[0-9A-F]{4}$")]
    """SHA-256 of its certificate, in groups."""
    ended: Ended | None = None
    ended_at: str | None = None
    """UTC, RFC 3339."""


class KeyList(Noun):
    """The release keys of a shop, signed by its root key."""

    schema_version: Literal["spinproof.keys.v1"] = "spinproof.keys.v1"
    version: Annotated[int, Field(ge=1)]
    """Rises with each change; a verifier takes no older list than one it has seen."""
    shop: Name
    issued_at: str
    root: str
    """Public part of the root key, PEM."""
    keys: Annotated[tuple[ListedKey, ...], Field(min_length=1, strict=False)]
    signature: Annotated[str, Field(pattern="^([0-9a-f]{2})*$")] = ""
    """ECDSA over the canonical JSON of all else, DER in hexadecimal digits."""

    @property
    def root_fingerprint(self) -> str:
        """SHA-256 of the root's public key, in groups."""
        return fingerprint_of_pem(self.root)

    def entry(self, certificate: x509.Certificate) -> ListedKey | None:
        """Give what the list says about a certificate."""
        wanted = fingerprint_of(certificate)
        return next((key for key in self.keys if key.fingerprint == wanted), None)

    def signed_part(self) -> bytes:
        """Give what the root signs."""
        document = self.to_document()
        document.pop("signature")
        return canonical_json(document)

    def to_bytes(self) -> bytes:
        """Give the file."""
        return canonical_json(self.to_document())


@dataclass(frozen=True)
class SigningKeys:
    """The release key in use, and the list that names it."""

    release: ReleaseKey
    known: KeyList


def make_list(
    root: PrivateKey, shop: str, version: int, keys: Iterable[ListedKey], issued_at: str
) -> KeyList:
    """Sign a list of release keys.

    Parameters
    ----------
    root : PrivateKey
        The shop's root key.
    shop : str
        Name of the shop.
    version : int
        Number of the list. [1]
    keys : iterable of ListedKey
        All keys that ever were.
    issued_at : str
        UTC, RFC 3339.

    Returns
    -------
    KeyList
        The signed list.
    """
    bare = KeyList(
        version=version, shop=shop, issued_at=issued_at, root=public_pem(root), keys=tuple(keys)
    )
    return bare.model_copy(update={"signature": sign(root, bare.signed_part()).hex()})


def read_key_list(data: bytes, where: str) -> KeyList:
    """Read a list of release keys, and check its signature.

    Parameters
    ----------
    data : bytes
        The file.
    where : str
        Its name, for the message.

    Returns
    -------
    KeyList
        The list; whether its root is the shop's is for the reader of the fingerprint to say.

    Raises
    ------
    PackageError
        If it is no such list, or its signature does not fit its root.
    """
    try:
        found = KeyList.from_document(json.loads(data))
    except (ValueError, ValidationError, RecursionError) as error:
        raise PackageError(
            "the file is no list of release keys that this version understands",
            where=where,
            mend="Ask the shop for its list anew.",
        ) from error
    if not is_signed_by_pem(found.root, bytes.fromhex(found.signature), found.signed_part()):
        raise PackageError(
            "the list of release keys is not signed by the root that it names",
            where=where,
            mend="Ask the shop for its list anew; this one was changed.",
        )
    return found


def fault_of_key(known: KeyList, certificate: x509.Certificate, issued_at: str) -> str | None:
    """Say why a package that was signed with a key cannot rest on it.

    Parameters
    ----------
    known : KeyList
        The list.
    certificate : Certificate
        The certificate of the package.
    issued_at : str
        When the package says that it was issued; RFC 3339.

    Returns
    -------
    str or None
        A clause, or None when the key was good then.
    """
    entry = known.entry(certificate)
    if entry is None:
        return f"the list of release keys, number {known.version}, does not name this key"
    if entry.ended is Ended.STOLEN:
        return (
            f"the shop says that this key was stolen ({entry.ended_at}); a thief can write any "
            "date, so without an outside time nobody can say who signed this"
        )
    if entry.ended_at and not _is_before(issued_at, entry.ended_at):
        return f"the shop ended this key ({entry.ended}, {entry.ended_at}) before the package"
    return None


def _is_before(moment: str, end: str) -> bool:
    try:
        return datetime.fromisoformat(moment) < datetime.fromisoformat(end)
    except (ValueError, TypeError):
        return False
