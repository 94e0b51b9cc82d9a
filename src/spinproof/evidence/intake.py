"""Taking a file in as evidence: one door for every kind of it."""

import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from spinproof.evidence.identity import ForbiddenWord
from spinproof.evidence.leaks import find_leaks
from spinproof.evidence.pictures import clean_picture
from spinproof.evidence.sniffing import Family, FileType, name_notice
from spinproof.evidence.store import EvidenceStore, Received
from spinproof.evidence.vault import Vault
from spinproof.files.durable import storage_errors
from spinproof.model.errors import EvidenceError

NAME_LENGTH = 80


@dataclass(frozen=True)
class TakenIn:
    """What became of a file that was sent."""

    sha256: str
    """Of the file that is held as evidence; a cleaned picture has another than its original."""
    name: str
    """The sender's name for it, fit to be shown."""
    type: FileType
    size: int
    new: bool
    """False when the very same file was held already."""
    derived_from: str | None = None
    """SHA-256 of the original in the sealed store, for pictures."""
    removed: tuple[str, ...] = ()
    """What the original told besides its pixels."""
    captured: str | None = None
    """Time of capture by the device's own clock, ISO 8601."""
    notice: str | None = None
    """Something about the name that the sender should know."""


def take_in(
    store: EvidenceStore,
    vault: Vault,
    pieces: Iterable[bytes],
    *,
    name: str,
    forbidden: Iterable[ForbiddenWord],
    announced: int = 0,
) -> TakenIn:
    """Take a file in as evidence.

    Parameters
    ----------
    store : EvidenceStore
        Where evidence is held.
    vault : Vault
        Where pictures are kept as they came, sealed.
    pieces : iterable of bytes
        The file as it comes in.
    name : str
        What the sender calls it.
    forbidden : iterable of ForbiddenWord
        What the name must not hold, for names of evidence are printed.
    announced : int
        How large the sender says it is, or 0. [bytes]

    Returns
    -------
    TakenIn
        Where and as what it is held. A picture is held as its pixels alone.

    Raises
    ------
    EvidenceError
        If the name holds a forbidden word, or the file is too large, of another type, damaged.

    Notes
    -----
    StorageError tells of a full disk. Whatever goes wrong, nothing of the file is held, but for
    the sealed original of a picture whose cleaned copy found no room.
    """
    shown = shown_name(name)
    if leaks := find_leaks(forbidden, {"the name of the file": shown}):
        raise EvidenceError(
            f"found {'; '.join(map(str, leaks))}",
            where="a file that was sent",
            mend="Give the file a name that says what it shows, and send it again.",
        )
    with store.receiving(pieces, shown, announced=announced) as received:
        if received.type.family is Family.PICTURE:
            return _take_in_picture(store, vault, received, shown)
        return TakenIn(
            sha256=received.sha256,
            name=shown,
            type=received.type,
            size=received.size,
            new=store.keep(received),
            notice=name_notice(shown, received.type),
        )


def shown_name(name: str) -> str:
    """Give the name of a file fit to be shown: no path, no invisible characters, not too long.

    >>> shown_name("photos/seal seat.jpg"), shown_name("../../..")
    ('seal seat.jpg', 'unnamed')
    """
    last = unicodedata.normalize("NFC", name).replace("\\", "/").rstrip("/").rpartition("/")[2]
    visible = "".join(letter for letter in last if letter.isprintable()).strip(" .")
    stem, point, suffix = visible.rpartition(".")
    if point and len(suffix) <= 10:
        visible = f"{stem[: NAME_LENGTH - len(suffix) - 1]}.{suffix}"
    return visible[:NAME_LENGTH] or "unnamed"


def _take_in_picture(store: EvidenceStore, vault: Vault, received: Received, name: str) -> TakenIn:
    with storage_errors(received.path):
        data = received.path.read_bytes()
    clean = clean_picture(data, received.type, name)
    original = vault.keep_original(data)
    sha256, new = store.keep_bytes(clean.data)
    return TakenIn(
        sha256=sha256,
        name=name,
        type=clean.type,
        size=len(clean.data),
        new=new,
        derived_from=original,
        removed=clean.removed,
        captured=clean.captured,
        notice=name_notice(name, received.type),
    )
