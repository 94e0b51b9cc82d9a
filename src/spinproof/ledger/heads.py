"""Heads of the audit trail's tree: what is signed, what leaves the house, what is read back.

A head names the log, the number of its rows and the root over them. One that somebody else holds
is an *anchor*: nobody can change, drop or add a row before it without contradicting it.
"""

import re
from dataclasses import dataclass
from enum import StrEnum

from spinproof.files.canonical import canonical_json
from spinproof.files.signing import (
    PrivateKey,
    fingerprint_of_pem,
    is_signed_by_pem,
    public_pem,
    sign,
)
from spinproof.model.errors import RecordError

TYPE = "spinproof.sth.v1"
LOG_DIGITS = 16
ROOT_DIGITS = 64


class Way(StrEnum):
    """How a head left the house."""

    PRINT = "print"
    LETTER = "letter"
    """On paper or as mail, to somebody outside."""
    RUN_SHEET = "run sheet"
    FILM = "film"
    BACKUP = "backup"


@dataclass(frozen=True)
class TreeHead:
    """The audit trail at some length, in one hash."""

    log: str
    """The first digits of the first row's leaf."""
    size: int
    """Rows."""
    root: str
    """Root over them, in hexadecimal digits."""

    def to_document(self) -> dict[str, object]:
        """Give what is signed, as plain JSON types."""
        return {"log": self.log, "root": self.root, "size": self.size, "type": TYPE}


@dataclass(frozen=True)
class SignedHead:
    """A head; signed unless somebody copied it by hand."""

    head: TreeHead
    signature: str | None = None
    """DER, in hexadecimal digits."""
    public_key: str | None = None
    """PEM; it does not travel in the line that is printed."""

    @property
    def line(self) -> str:
        """The head and its signature in one line of capitals, as the QR code carries it."""
        parts = (TYPE, self.head.log, str(self.head.size), self.head.root, self.signature or "")
        return " ".join(parts).strip().upper()

    @property
    def is_genuine(self) -> bool | None:
        """Whether the signature fits the key that lies beside it; None when one is missing."""
        if self.signature is None or self.public_key is None:
            return None
        try:
            signature = bytes.fromhex(self.signature)
        except ValueError:
            return False
        return is_signed_by_pem(self.public_key, signature, canonical_json(self.head.to_document()))


@dataclass(frozen=True)
class Anchor:
    """A head that somebody held against the ledger, and where it comes from."""

    signed: SignedHead
    words: str
    """For example "the letter of 6 May 2031"."""


@dataclass(frozen=True)
class AnchorEntry:
    """What the ledger itself notes of a head that left the house."""

    signed: SignedHead
    way: Way
    place: str
    who: str
    at: str

    @property
    def words(self) -> str:
        """Where it went, in words."""
        return f"the head that {self.who} sent out on {self.at} ({self.way}: {self.place})"


@dataclass(frozen=True)
class RestorationEntry:
    """An earlier state that was put back."""

    size: int
    """Rows of the audit trail that it held."""
    root: str
    backed_up_at: str
    why: str
    who: str
    at: str


def sign_head(head: TreeHead, private: PrivateKey) -> SignedHead:
    """Sign a head with the key of the station.

    Parameters
    ----------
    head : TreeHead
        The head.
    private : PrivateKey
        The key.

    Returns
    -------
    SignedHead
        The head with its signature over its canonical JSON.
    """
    signature = sign(private, canonical_json(head.to_document()))
    return SignedHead(head, signature.hex(), public_pem(private))


def printed(signed: SignedHead) -> str:
    """Give a head as a run sheet or a letter shows it, for the eye.

    Parameters
    ----------
    signed : SignedHead
        The head.

    Returns
    -------
    str
        A few lines of text, the root in groups of eight digits.
    """
    root = signed.head.root.upper()
    groups = [root[i : i + 8] for i in range(0, len(root), 8)]
    lines = [
        f"Audit trail {signed.head.log.upper()}, {signed.head.size} rows, root",
        " ".join(groups[:4]),
        " ".join(groups[4:]),
    ]
    if signed.public_key is not None:
        lines.append(f"Station key {fingerprint_of_pem(signed.public_key)}")
    return "\n".join(lines)


def read_head(text: str) -> SignedHead:
    """Read a head from a QR code's line, from what is printed, or from a copy by hand.

    Parameters
    ----------
    text : str
        The text; spaces, line ends and the case of letters do not matter.

    Returns
    -------
    SignedHead
        The head, with its signature when the text carries one.

    Raises
    ------
    RecordError
        If the text is no head, or is not whole.

    Notes
    -----
    A head does not carry a check digit: whoever compares it tells how many digits differ.
    """
    line = re.compile(rf"\s*{re.escape(TYPE)}\s+([0-9a-f]{{16}})\s+([0-9]+)\s+([0-9a-f\s]+)")
    sheet = re.compile(
        r"\s*audit trail ([0-9a-f]{16}), ([0-9]+) rows, root\s+([0-9a-f\s]+?)\s*(station key.*)?",
        re.DOTALL,
    )
    found = line.fullmatch(text.lower()) or sheet.fullmatch(text.lower())
    digits = "".join(found[3].split()) if found else ""
    if found is None or len(digits) < ROOT_DIGITS or len(digits) % 2:
        raise RecordError(
            "this is no head of an audit trail, or not the whole of one",
            where=f"head {text.strip()[:60]}",
            mend=f"Scan the code again, or copy all {ROOT_DIGITS} digits of the root.",
        )
    head = TreeHead(found[1], int(found[2]), digits[:ROOT_DIGITS])
    return SignedHead(head, digits[ROOT_DIGITS:] or None)
