"""What a file is, by its content; a name or a header of the sender is never believed."""

import codecs
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path, PurePosixPath
from typing import BinaryIO
from zipfile import ZipFile

from spinproof.files.archive import refusal_of
from spinproof.files.durable import storage_errors
from spinproof.model.errors import EvidenceError

HEAD_BYTES = 4096
"""How many of the first bytes tell the type."""


class Family(StrEnum):
    """Types that are handled, and limited in size, alike."""

    PICTURE = "picture"
    DOCUMENT = "document"
    TABLE = "table"
    FILM = "film"
    ARCHIVE = "archive"


@dataclass(frozen=True)
class _Traits:
    words: str
    family: Family
    media_type: str
    suffixes: tuple[str, ...]


class FileType(StrEnum):
    """The types of files that are taken in as evidence."""

    JPEG = "jpeg"
    PNG = "png"
    WEBP = "webp"
    TIFF = "tiff"
    PDF = "pdf"
    TEXT = "text"
    PARQUET = "parquet"
    MP4 = "mp4"
    MOV = "mov"
    MATROSKA = "matroska"
    ZIP = "zip"
    XLSX = "xlsx"

    @property
    def words(self) -> str:
        """The type in words, with its article."""
        return _TRAITS[self].words

    @property
    def family(self) -> Family:
        """What it is handled like."""
        return _TRAITS[self].family

    @property
    def media_type(self) -> str:
        """The type as a web page states it."""
        return _TRAITS[self].media_type

    @property
    def suffixes(self) -> tuple[str, ...]:
        """Endings that names of such files have."""
        return _TRAITS[self].suffixes


_TRAITS = {
    FileType.JPEG: _Traits("a JPEG picture", Family.PICTURE, "image/jpeg", (".jpg", ".jpeg")),
    FileType.PNG: _Traits("a PNG picture", Family.PICTURE, "image/png", (".png",)),
    FileType.WEBP: _Traits("a WebP picture", Family.PICTURE, "image/webp", (".webp",)),
    FileType.TIFF: _Traits("a TIFF picture", Family.PICTURE, "image/tiff", (".tif", ".tiff")),
    FileType.PDF: _Traits("a PDF document", Family.DOCUMENT, "application/pdf", (".pdf",)),
    FileType.TEXT: _Traits(
        "plain text", Family.TABLE, "text/plain; charset=utf-8", (".txt", ".csv", ".tsv", ".log")
    ),
    FileType.PARQUET: _Traits(
        "a Parquet table", Family.TABLE, "application/vnd.apache.parquet", (".parquet",)
    ),
    FileType.MP4: _Traits("an MP4 film", Family.FILM, "video/mp4", (".mp4", ".m4v")),
    FileType.MOV: _Traits("a QuickTime film", Family.FILM, "video/quicktime", (".mov",)),
    FileType.MATROSKA: _Traits(
        "a Matroska film", Family.FILM, "video/x-matroska", (".mkv", ".webm")
    ),
    FileType.ZIP: _Traits("a ZIP archive", Family.ARCHIVE, "application/zip", (".zip",)),
    FileType.XLSX: _Traits(
        "a spreadsheet",
        Family.TABLE,
        "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        (".xlsx",),
    ),
}

BOX_LIMIT = 200_000
"""Boxes at the top of a film; one recorded in pieces of 1 s has two for each second."""

_MEND = (
    "Taken are JPEG, PNG, WebP and TIFF pictures, PDF, UTF-8 text, Parquet, ZIP, XLSX, and films"
    " as MP4, MOV or MKV. Export the file as one of these."
)

_STARTS = (
    (b"\xff\xd8\xff", FileType.JPEG),
    (b"\x89PNG\r\n\x1a\n", FileType.PNG),
    (b"II*\0", FileType.TIFF),
    (b"MM\0*", FileType.TIFF),
    (b"%PDF-", FileType.PDF),
    (b"PAR1", FileType.PARQUET),
    (b"PK\x03\x04", FileType.ZIP),
    (b"PK\x05\x06", FileType.ZIP),
)
_OTHERS = (
    (b"MZ", "a program for Windows"),
    (b"\x7fELF", "a program for Linux"),
    (b"\xcf\xfa\xed\xfe", "a program for macOS"),
    (b"#!", "a script"),
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"\xd0\xcf\x11\xe0", "an old office file, or one with a password"),
    (b"{\\rtf", "an RTF document"),
    (b"\x1f\x8b", "a gzip file"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"Rar!", "a RAR archive"),
    (b"SQLite format 3", "an SQLite database"),
    (b"ARROW1", "an Arrow file"),
    (b"\x89HDF", "an HDF5 file"),
    (b"\xff\xfe", "text in UTF-16"),
    (b"\xfe\xff", "text in UTF-16"),
)
_PICTURE_BRANDS = (b"heic", b"heix", b"heif", b"mif1", b"msf1", b"avif")
_OLD_BOXES = (b"moov", b"mdat", b"wide", b"free", b"skip")
_MARKUP = ("<!doctype", "<html", "<svg", "<?xml", "<script", "<head", "<body")


def sniff(head: bytes, name: str) -> FileType:
    """Tell the type from the first bytes of a file.

    Parameters
    ----------
    head : bytes
        Up to ``HEAD_BYTES`` of the file's first bytes.
    name : str
        What the sender calls the file; for messages only.

    Returns
    -------
    FileType
        The type; a ZIP may turn out as a spreadsheet in `confirm`.

    Raises
    ------
    EvidenceError
        If it is none of the types that are taken; the message names what it is.
    """
    if not head:
        raise EvidenceError(
            "the file is empty", where=name, mend="Choose the file again; it may not be finished."
        )
    for start, kind in _STARTS:
        if head.startswith(start):
            return kind
    if head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        return FileType.WEBP
    if film := _film(head):
        return film
    if found := _other(head):
        raise EvidenceError(
            f"the file is {found}, which is not taken as evidence", where=name, mend=_MEND
        )
    if _is_text(head):
        return FileType.TEXT
    raise EvidenceError("the file is of an unknown type", where=name, mend=_MEND)


def confirm(path: Path, kind: FileType, name: str) -> FileType:
    """Check that the whole file is what its first bytes said.

    Parameters
    ----------
    path : Path
        The file, complete.
    kind : FileType
        The type by its first bytes.
    name : str
        What the sender calls the file; for messages only.

    Returns
    -------
    FileType
        The type; a ZIP with the parts of a spreadsheet is a spreadsheet.

    Raises
    ------
    EvidenceError
        If the rest of the file does not fit: cut off, not text all through, a hostile archive.
    """
    with storage_errors(path), path.open("rb") as file:
        match kind:
            case FileType.ZIP:
                return _confirm_archive(file, name)
            case FileType.TEXT:
                wrong = _text_fault(file)
            case FileType.PARQUET:
                wrong = None if _last(file, 4) == b"PAR1" else "its end is missing"
            case FileType.PDF:
                wrong = None if b"%%EOF" in _last(file, 1024) else "its end is missing"
            case FileType.MP4 | FileType.MOV:
                wrong = _boxes_fault(file)
            case _:
                wrong = None
    if wrong:
        raise EvidenceError(
            f"the file begins as {kind.words}, but {wrong}",
            where=name,
            mend="Copy or export the file again, and check that it opens.",
        )
    return kind


def name_notice(name: str, kind: FileType) -> str | None:
    """Say so when the name of a file promises another type than its content.

    >>> name_notice("seal.png", FileType.JPEG)
    'the name ends in ".png", the content is a JPEG picture'
    >>> name_notice("seal.JPG", FileType.JPEG)
    """
    suffix = PurePosixPath(name).suffix
    if not suffix or suffix.lower() in kind.suffixes:
        return None
    return f'the name ends in "{suffix}", the content is {kind.words}'


def _film(head: bytes) -> FileType | None:
    if head.startswith(b"\x1a\x45\xdf\xa3") and (b"matroska" in head[:64] or b"webm" in head[:64]):
        return FileType.MATROSKA
    box = head[4:8]
    if box == b"ftyp" and head[8:12] not in _PICTURE_BRANDS:
        return FileType.MOV if head[8:12] == b"qt  " else FileType.MP4
    return FileType.MOV if box in _OLD_BOXES else None


def _other(head: bytes) -> str | None:
    if head[4:8] == b"ftyp":
        return "an HEIF or AVIF picture"
    if head[257:262] == b"ustar":
        return "a tar archive"
    text = head.removeprefix(codecs.BOM_UTF8).lstrip()[:16].decode("ascii", "replace").lower()
    if text.startswith(_MARKUP):
        return "a web page, or a drawing in XML"
    return next((words for start, words in _OTHERS if head.startswith(start)), None)


def _is_text(head: bytes) -> bool:
    """Tell whether the bytes are UTF-8; a letter cut at the end of the head is no fault."""
    try:
        text = codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return False
    return _control_character(text) is None


def _control_character(text: str) -> str | None:
    return next((c for c in text if c < " " and c not in "\t\n\r\f"), None)


def _text_fault(file: BinaryIO) -> str | None:
    decoder = codecs.getincrementaldecoder("utf-8")()
    while True:
        piece = file.read(1 << 20)
        try:
            text = decoder.decode(piece, final=not piece)
        except UnicodeDecodeError:
            return f"it is not UTF-8 near byte {file.tell()}"
        if odd := _control_character(text):
            return f"it holds the control character {ord(odd):#04x} near byte {file.tell()}"
        if not piece:
            return None


def _last(file: BinaryIO, count: int) -> bytes:
    size = file.seek(0, 2)
    file.seek(max(0, size - count))
    return file.read(count)


def _boxes_fault(file: BinaryIO) -> str | None:
    """Walk the boxes of an MP4 or MOV film: they must reach its end, and one must index it."""
    size, at, kinds = file.seek(0, 2), 0, set()
    for _ in range(BOX_LIMIT):
        if at == size:
            return None if b"moov" in kinds else "its index is missing: it was not finished"
        file.seek(at)
        header = file.read(16)
        length, kind = int.from_bytes(header[:4]), header[4:8]
        if length == 1:
            length = int.from_bytes(header[8:16])
        elif length == 0:
            length = size - at
        if length < 8 or at + length > size:
            return f"it is cut off, or damaged at byte {at}"
        kinds.add(kind)
        at += length
    return f"it has more than {BOX_LIMIT} parts"


def _confirm_archive(file: BinaryIO, name: str) -> FileType:
    if reason := refusal_of(file):
        raise EvidenceError(
            f"the archive is not taken: {reason}",
            where=name,
            mend="Pack only the files that are evidence, without links or paths that lead out.",
        )
    with ZipFile(file) as archive:
        names = archive.namelist()
    if any(entry.endswith("vbaProject.bin") for entry in names):
        raise EvidenceError(
            "the file holds macros", where=name, mend="Save it without macros, or as CSV."
        )
    return FileType.XLSX if "xl/workbook.xml" in names else FileType.ZIP
