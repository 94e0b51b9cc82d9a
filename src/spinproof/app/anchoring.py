"""Sending a head of the audit trail out of the house: on paper, by letter, in a film."""

from dataclasses import dataclass, replace

from spinproof.app.clock import utc_now
from spinproof.app.home import Home
from spinproof.figures.qr import qr_code
from spinproof.files.durable import write_durably
from spinproof.files.signing import (
    PrivateKey,
    load_private_key,
    new_private_key,
    public_pem,
    store_private_key,
)
from spinproof.ledger.heads import (
    Anchor,
    AnchorEntry,
    SignedHead,
    printed,
    read_head,
    sign_head,
)
from spinproof.ledger.heads import Way as Way
from spinproof.ledger.ledger import Ledger

STATION_KEY = "station-key.pem"
STATION_PUBLIC = "station-public.pem"
_WHAT = "station key"


@dataclass(frozen=True)
class SentHead:
    """A head that left the house, in every form it leaves in."""

    entry: AnchorEntry
    text: str
    """A few lines for the eye: a letter, a run sheet."""
    line: str
    """What the QR code carries: the head with its signature."""
    code: str
    """The QR code as an SVG element."""


def station_key(home: Home) -> PrivateKey:
    """Give the key that signs heads unattended; a first call makes it.

    Parameters
    ----------
    home : Home
        The shop's folders.

    Returns
    -------
    PrivateKey
        The key. Whoever owns the machine can use it: a head proves what somebody outside holds
        of it, not that the shop signed it.
    """
    path = home.keys / STATION_KEY
    if not path.exists():
        key = new_private_key()
        store_private_key(path, key, _WHAT)
        write_durably(home.keys / STATION_PUBLIC, public_pem(key).encode())
    return load_private_key(path, _WHAT)


def signed_head(home: Home, ledger: Ledger) -> SignedHead:
    """Sign the head of the audit trail as it is now.

    Parameters
    ----------
    home : Home
        The shop's folders.
    ledger : Ledger
        The records.

    Returns
    -------
    SignedHead
        The head; it counts as an anchor only where somebody else keeps it.
    """
    with ledger.reading() as reading:
        head = reading.tree_head()
    return sign_head(head, station_key(home))


def send_head(home: Home, ledger: Ledger, way: Way, place: str, *, by: str) -> SentHead:
    """Sign the present head, note that it leaves the house, and give it in every form.

    Parameters
    ----------
    home : Home
        The shop's folders.
    ledger : Ledger
        The records.
    way : Way
        How it leaves.
    place : str
        Where it goes, for example "purchasing, with the scope agreed".
    by : str
        Who sends it.

    Returns
    -------
    SentHead
        The head as text, line and QR code.
    """
    signed = signed_head(home, ledger)
    with ledger.transaction(by, utc_now()) as records:
        entry = records.note_anchor(signed, way, place)
    return SentHead(entry, printed(signed), signed.line, qr_code(signed.line))


def held_head(home: Home, ledger: Ledger, text: str, words: str) -> Anchor:
    """Read a head that came back from outside, to compare the ledger with it.

    Parameters
    ----------
    home : Home
        The shop's folders.
    ledger : Ledger
        The records.
    text : str
        What the code, the letter or the run sheet says.
    words : str
        Where it comes from, for example "the letter of 6 May 2031".

    Returns
    -------
    Anchor
        The head. A signature that fits no key of this station makes it a finding.
    """
    signed = read_head(text)
    with ledger.reading() as reading:
        noted = [entry.signed.public_key for entry in reading.anchors()]
    own = home.keys / STATION_PUBLIC
    keys = [*([own.read_text()] if own.exists() else []), *noted] if signed.signature else []
    tried = [replace(signed, public_key=key) for key in keys]
    genuine = (candidate for candidate in tried if candidate.is_genuine)
    return Anchor(next(genuine, tried[0] if tried else signed), words)
