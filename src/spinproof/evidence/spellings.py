"""Ways in which a text can be written so that the eye or a program still reads it."""

import base64
import html
import quopri
import re
import unicodedata
import urllib.parse
from collections.abc import Callable, Iterator

DEPTH = 3
"""How often text may be wrapped in codes: base64 in a web address in JSON is 3."""

_LOOKS = {
    "a": "4@аα",
    "b": "8вβ",
    "c": "сϲ",
    "d": "ԁ",
    "e": "3еε",
    "h": "нһη",
    "j": "ј",
    "k": "кκ",
    "l": "1|iıіιӏ",
    "m": "м",
    "o": "0оοօ",
    "p": "рρ",
    "q": "ԛ",
    "s": "5$ѕ",
    "t": "7тτ",
    "v": "νѵ",
    "w": "ѡω",
    "x": "хχ",
    "y": "уυγ",
    "z": "ζ",
}
_LOOKALIKES = str.maketrans({look: letter for letter, looks in _LOOKS.items() for look in looks})
"""Digits, Greek, Cyrillic and Armenian letters to the letter that they pass for."""

_INSIDE_WORDS = re.compile("[\u0300-\u036f\u200b-\u200f\u2060\ufeff\u00ad]")
"""Marks over letters, and characters that nobody sees."""
_BASE64 = re.compile(r"[A-Za-z0-9+/_-]{8,}(?:\r?\n[A-Za-z0-9+/_-]{4,})*")
_HEX = re.compile(r"(?:(?:0x|\\x)?[0-9A-Fa-f]{2}[\s:,-]{0,2}){6,}")
_ESCAPE = re.compile(r"\\(?:u([0-9A-Fa-f]{4})|x([0-9A-Fa-f]{2}))")


def plain_letters(text: str) -> str:
    """Give a text with its letters and digits alone, each look-alike as one and the same.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    str
        Without case, marks, blanks, separators and invisible characters.

    Examples
    --------
    >>> plain_letters("V\u00e9x-M0\u043er"), plain_letters("vexmoor")
    ('vexmoor', 'vexmoor')
    """
    return re.sub(r"[\W_]+", "", _folded(text))


def spaced_letters(text: str) -> str:
    """Give a text as `plain_letters` does, but with one blank wherever words are apart."""
    return re.sub(r"[\W_]+", " ", _INSIDE_WORDS.sub("", _folded(text)))


def _folded(text: str) -> str:
    folded = unicodedata.normalize("NFKD", text).casefold()
    return unicodedata.normalize("NFKD", folded).translate(_LOOKALIKES)


def readings_of(text: str, depth: int = DEPTH) -> Iterator[tuple[str, str]]:
    """Give a text as it stands, and with every code taken off that it might be wrapped in.

    Parameters
    ----------
    text : str
        Any text.
    depth : int
        How many codes may lie inside one another.

    Yields
    ------
    tuple of str
        The codes in words ("" for the text as it stands), and the text.
    """
    yield "", text
    if depth == 0:
        return
    for code, decode in _CODES.items():
        decoded = decode(text)
        if decoded and decoded != text:
            for inner, reading in readings_of(decoded, depth - 1):
                yield f"{code}, {inner}" if inner else code, reading


def _from_url(text: str) -> str:
    return urllib.parse.unquote(text, errors="replace") if "%" in text else ""


def _from_html(text: str) -> str:
    return html.unescape(text) if "&" in text else ""


def _from_escapes(text: str) -> str:
    return _ESCAPE.sub(lambda found: chr(int(found[1] or found[2], 16)), text)


def _from_quoted_printable(text: str) -> str:
    if not re.search("=[0-9A-Fa-f]{2}", text):
        return ""
    return quopri.decodestring(text.encode("utf-8", "replace")).decode("utf-8", "replace")


def _from_base64(text: str) -> str:
    return "\n".join(_readable(_base64_bytes(text)))


def _base64_bytes(text: str) -> Iterator[bytes]:
    """Decode every run of base64 at all four places where it could begin."""
    for run in _BASE64.findall(text):
        letters = re.sub(r"\s", "", run).replace("-", "+").replace("_", "/")
        for start in range(4):
            part = letters[start:]
            rest = len(part) % 4
            padded = part[:-1] if rest == 1 else part + "=" * (-len(part) % 4)
            yield base64.b64decode(padded)


def _from_hex(text: str) -> str:
    return "\n".join(_readable(_hex_bytes(text)))


def _hex_bytes(text: str) -> Iterator[bytes]:
    for run in _HEX.findall(text):
        digits = re.sub(r"0x|\\x|[^0-9A-Fa-f]", "", run)
        for start in range(2):
            part = digits[start:]
            yield bytes.fromhex(part[: len(part) // 2 * 2])


def _readable(pieces: Iterator[bytes]) -> Iterator[str]:
    """Keep what reads as text; what decodes to noise was not in that code."""
    for piece in pieces:
        bare = piece.replace(b"\0", b"")
        text = bare.decode("utf-8", "ignore")
        shown = "".join(letter for letter in text if letter.isprintable() or letter.isspace())
        if len(bare) >= 4 and len(shown.encode()) >= 0.85 * len(bare):
            yield text


_CODES: dict[str, Callable[[str], str]] = {
    "percent code": _from_url,
    "HTML": _from_html,
    "escapes": _from_escapes,
    "quoted-printable": _from_quoted_printable,
    "base64": _from_base64,
    "hexadecimal": _from_hex,
}
