"""What a picture file carries besides its pixels, read from its structure.

References
----------
.. [1] "Digital compression and coding of continuous-tone still images," ITU-T T.81 (1992),
   annex B: markers.
.. [2] "JPEG File Interchange Format (JFIF)," ITU-T T.871 (2011), 10.1: the APP0 segment.
.. [3] "Portable Network Graphics (PNG) Specification (Third Edition)," W3C (2025), chapter 5.
.. [4] J. Zern, P. Massimino and J. Alakuijala, "WebP Image Format," RFC 9649 (2024).
"""

from collections.abc import Iterator

from spinproof.evidence.sniffing import FileType
from spinproof.model.errors import EvidenceError

_JPEG_PIXELS = frozenset({0xC0, 0xC1, 0xC2, 0xC4, 0xDA, 0xDB, 0xDD})
"""Frame, Huffman tables, scan, quantisation tables and restart interval."""
_JPEG_ALONE = frozenset({0x01, *range(0xD0, 0xD9)})
"""Markers without a segment."""
_JPEG_WORDS = {0xE1: "Exif or XMP data", 0xED: "press data", 0xFE: "a comment"}
_PNG_PIXELS = frozenset({b"IHDR", b"PLTE", b"IDAT", b"IEND"})
_WEBP_PIXELS = frozenset({b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF"})
_CHUNK_WORDS = {
    b"tEXt": "text",
    b"zTXt": "text",
    b"iTXt": "text",
    b"eXIf": "Exif or XMP data",
    b"EXIF": "Exif or XMP data",
    b"XMP ": "Exif or XMP data",
    b"iCCP": "a colour profile",
    b"ICCP": "a colour profile",
    b"tIME": "a time",
}
SCAN_LIMIT = 100
"""Scans of a JPEG; a progressive one has about ten, a hostile one thousands."""


def carried_parts(data: bytes, kind: FileType, name: str) -> tuple[str, ...]:
    """Name everything in a JPEG, PNG or WebP file that is not pixels.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : FileType
        Its type.
    name : str
        What the file is called; for messages only.

    Returns
    -------
    tuple of str
        In words, each once, in the order in which they come; empty when there are pixels alone.

    Raises
    ------
    EvidenceError
        If the structure is broken.
    """
    walk = {
        FileType.JPEG: _walk_jpeg,
        FileType.PNG: _walk_png,
        FileType.WEBP: _walk_webp,
    }[kind]
    try:
        return tuple(dict.fromkeys(walk(data)))
    except (IndexError, ValueError) as error:
        raise EvidenceError(
            f"the file begins as {kind.words}, but its structure is broken",
            where=name,
            mend="Copy the picture from the camera again, and check that it opens.",
        ) from error


def _walk_jpeg(data: bytes) -> Iterator[str]:
    at, scans = 2, 0
    while True:
        at, marker = _next_marker(data, at)
        if marker == 0xD9:
            break
        if marker in _JPEG_ALONE:
            continue
        length = int.from_bytes(data[at : at + 2])
        if length < 2 or at + length > len(data):
            raise ValueError(marker)
        scans += marker == 0xDA
        if scans > SCAN_LIMIT:
            raise ValueError(scans)
        if not (marker in _JPEG_PIXELS or _is_bare_jfif(marker, data[at + 2 : at + length])):
            yield _JPEG_WORDS.get(marker, f"data of the camera (APP{marker - 0xE0})")
        at += length
    if at < len(data):
        yield f"{len(data) - at} bytes after the end"


def _next_marker(data: bytes, at: int) -> tuple[int, int]:
    """Skip entropy-coded bytes and fill; give what follows the next marker, and the marker."""
    while True:
        at = data.index(b"\xff", at)
        while data[at] == 0xFF:
            at += 1
        if data[at]:
            return at + 1, data[at]


def _is_bare_jfif(marker: int, segment: bytes) -> bool:
    """Tell whether a segment is a JFIF header without a thumbnail."""
    return (
        marker == 0xE0
        and len(segment) == 14
        and segment.startswith(b"JFIF\0")
        and segment[12:] == b"\0\0"
    )


def _walk_png(data: bytes) -> Iterator[str]:
    at, kind = 8, b""
    while kind != b"IEND":
        length, kind = int.from_bytes(data[at : at + 4]), data[at + 4 : at + 8]
        at += 12 + length
        if at > len(data):
            raise ValueError(kind)
        if kind not in _PNG_PIXELS:
            yield _CHUNK_WORDS.get(kind, f"a chunk {kind!r}")
    if at < len(data):
        yield f"{len(data) - at} bytes after the end"


def _walk_webp(data: bytes) -> Iterator[str]:
    at, end = 12, 8 + int.from_bytes(data[4:8], "little")
    if end > len(data):
        raise ValueError(end)
    while at + 8 <= end:
        kind, length = data[at : at + 4], int.from_bytes(data[at + 4 : at + 8], "little")
        at += 8 + length + length % 2
        if kind not in _WEBP_PIXELS:
            yield _CHUNK_WORDS.get(kind, f"a chunk {kind!r}")
    if end < len(data):
        yield f"{len(data) - end} bytes after the end"
