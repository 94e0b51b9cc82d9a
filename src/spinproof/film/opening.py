"""Films are opened here alone: only known containers, only from a file."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import av
from av.container import InputContainer
from av.error import FFmpegError

from spinproof.files.durable import storage_errors
from spinproof.model.errors import EvidenceError

CONTAINERS = "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm"
_PICTURES = {
    b"\xff\xd8\xff": "a JPEG picture",
    b"\x89PNG": "a PNG picture",
    b"GIF8": "a GIF picture",
    b"II*\x00": "a TIFF picture",
    b"MM\x00*": "a TIFF picture",
    b"BM": "a BMP picture",
}
_STILL_BRANDS = {b"heic", b"heix", b"mif1", b"avif", b"msf1"}
_KIND_OF_FILE = "Give the film as the camera wrote it: MP4, MOV or MKV."
_COPY_AGAIN = (
    "Copy the file again from the camera, whole; a film whose index is lost plays nowhere."
)


@contextmanager
def open_film(path: Path) -> Iterator[InputContainer]:
    """Open a film for reading, and put errors of its decoding into words.

    Parameters
    ----------
    path : Path
        An MP4, MOV or MKV file; its name is not believed.

    Yields
    ------
    InputContainer
        With at least one video stream.

    Raises
    ------
    EvidenceError
        If it is no film, or one that is cut short before its index.
    StorageError
        If it cannot be read.
    """
    head = _head_of(path)
    options = {"format_whitelist": CONTAINERS, "protocol_whitelist": "file"}
    try:
        with av.open(str(path), "r", options=options, metadata_errors="replace") as film:
            if not film.streams.video:
                raise EvidenceError(
                    "the file has no moving picture", where=path.name, mend=_KIND_OF_FILE
                )
            yield film
    except FFmpegError as error:
        said = str(error.strerror or "").lower()
        is_film = head[4:8] in {b"ftyp", b"wide", b"mdat", b"moov", b"free"}
        raise EvidenceError(
            "the film is cut short or damaged: its index is missing or cannot be read"
            if is_film
            else f"the file is no film that can be read ({said})",
            where=path.name,
            mend=_COPY_AGAIN if is_film else _KIND_OF_FILE,
        ) from error


def _head_of(path: Path) -> bytes:
    with storage_errors(path), path.open("rb") as file:
        head = file.read(16)
    if not head:
        raise EvidenceError("the file is empty", where=path.name, mend=_COPY_AGAIN)
    words = next((said for mark, said in _PICTURES.items() if head.startswith(mark)), None)
    if head[4:8] == b"ftyp" and head[8:12] in _STILL_BRANDS:
        words = "a still picture"
    if words:
        raise EvidenceError(
            f"the file is {words}, whatever its name says, and no film",
            where=path.name,
            mend="Take pictures in with `spinproof evidence`; " + _KIND_OF_FILE,
        )
    return head
