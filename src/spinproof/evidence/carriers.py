"""The texts that a file carries, also inside compressed streams, archives and tables."""

import gzip
import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.parquet as pq

from spinproof.files.archive import refusal_of
from spinproof.model.errors import EvidenceError

DEPTH = 4
"""How deep files may lie inside one another."""
STREAM_LIMIT = 50_000_000
"""Bytes to which one compressed stream is unpacked."""

ROW_LIMIT = 50_000_000
"""Rows of a Parquet table; a hostile one packs billions into a page."""

_FEED = 16_384
_PRINTABLE = re.compile(r"[\t\r\n -~]{6,}")
_ZLIB = re.compile(rb"\x78[\x01\x5e\x9c\xda]")
_UNPACK = "Take the file out of the package, or pack it anew so that it can be searched."


@dataclass(frozen=True)
class FoundText:
    """A text that a file carries."""

    where: str
    text: str
    is_text: bool
    """False when it is bytes of something else, read as if they were text."""


def texts_in(data: bytes, where: str, depth: int = DEPTH) -> Iterator[FoundText]:
    """Give every text of a file.

    Parameters
    ----------
    data : bytes
        The whole file.
    where : str
        What to call it.
    depth : int
        How many files may lie inside one another.

    Yields
    ------
    FoundText
        Each text, with its place. Bytes that are no text are read in the ways in which programs
        write text among other bytes: Latin-1 and UTF-8, and UTF-16 of both orders.

    Raises
    ------
    EvidenceError
        If archives lie deeper than that, or must not be unpacked.

    Notes
    -----
    PDF writers that embed fonts store glyph numbers instead of letters on the page. Such text
    is not found here; search what the document is made from as well.
    """
    for text, is_text in _decodings(data):
        yield FoundText(where, text, is_text)
    for name, inner in _inner(data, where):
        if depth == 0:
            raise EvidenceError(f"archives lie more than {DEPTH} deep", where=where, mend=_UNPACK)
        yield from texts_in(inner, name, depth - 1)


def _decodings(data: bytes) -> Iterator[tuple[str, bool]]:
    try:
        yield data.decode("utf-8-sig"), True
    except UnicodeDecodeError:
        latin = data.decode("latin-1")
        yield "\n".join(_PRINTABLE.findall(latin)), True
        if data.startswith(b"PAR1"):
            return  # its columns are read as a table
        yield latin, False
        yield data.decode("utf-8", "ignore"), False
    if b"\0" in data:
        for start in (0, 1):
            for order in ("utf-16-le", "utf-16-be"):
                yield data[start:].decode(order, "ignore"), False


def _inner(data: bytes, where: str) -> Iterator[tuple[str, bytes]]:
    if data.startswith(b"PK"):
        yield from _entries(data, where)
    elif data.startswith(b"PAR1"):
        yield f"{where}, columns", _parquet_texts(data, where).encode("utf-8", "replace")
    elif data.startswith(b"\x1f\x8b"):
        yield f"{where}, unpacked", _gunzipped(data, where)
    else:
        yield from _streams(data, where)


def _entries(data: bytes, where: str) -> Iterator[tuple[str, bytes]]:
    if reason := refusal_of(io.BytesIO(data), unpacked_limit=500_000_000):
        raise EvidenceError(f"the archive is not searched: {reason}", where=where, mend=_UNPACK)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for entry in archive.infolist():
                yield f"{where}, {entry.filename}", archive.read(entry)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, EOFError, OSError) as error:
        raise EvidenceError(
            "the archive is damaged and cannot be searched", where=where, mend=_UNPACK
        ) from error


def _parquet_texts(data: bytes, where: str) -> str:
    try:
        with pq.ParquetFile(io.BytesIO(data)) as file:
            if file.metadata.num_rows > ROW_LIMIT:
                raise EvidenceError(
                    f"the table has more than {ROW_LIMIT} rows", where=where, mend=_UNPACK
                )
            schema = file.schema_arrow
            named = [field.name for field in schema if _may_hold_text(field.type)]
            columns = file.read(columns=named).columns
    except (pa.ArrowException, OSError) as error:
        raise EvidenceError(
            "the Parquet file is damaged and cannot be searched", where=where, mend=_UNPACK
        ) from error
    metadata = [schema.metadata or {}, *(field.metadata or {} for field in schema)]
    texts = [text for pairs in metadata for pair in pairs.items() for text in pair]
    values = [str(value) for column in columns for value in column.unique().to_pylist()]
    return "\n".join([*schema.names, *(t.decode("utf-8", "replace") for t in texts), *values])


def _may_hold_text(kind: pa.DataType) -> bool:
    numeric = pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_boolean(kind)
    return not (numeric or pa.types.is_temporal(kind) or pa.types.is_nested(kind))


def _gunzipped(data: bytes, where: str) -> bytes:
    try:
        with gzip.open(io.BytesIO(data)) as file:
            return file.read(STREAM_LIMIT)
    except (OSError, EOFError, zlib.error) as error:
        raise EvidenceError(
            "the gzip file is damaged and cannot be searched", where=where, mend=_UNPACK
        ) from error


def _streams(data: bytes, where: str) -> Iterator[tuple[str, bytes]]:
    """Unpack what looks like a zlib stream: pages of a PDF, texts of a PNG."""
    number = 0
    for found in _ZLIB.finditer(data):
        inner = _inflated(memoryview(data)[found.start() :])
        if len(inner) >= 4:
            number += 1
            yield f"{where}, stream {number}", inner


def _inflated(data: memoryview) -> bytes:
    """Give what a stream unpacks to, up to where it ends, is damaged, or becomes too long."""
    unpacker, parts, size = zlib.decompressobj(), [], 0
    for at in range(0, len(data), _FEED):
        try:
            parts.append(unpacker.decompress(data[at : at + _FEED]))
        except zlib.error:
            break
        size += len(parts[-1])
        if unpacker.eof or size > STREAM_LIMIT:
            break
    return b"".join(parts)
