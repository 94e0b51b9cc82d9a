"""A copy of a film without place, device and other metadata; pictures and sound as they are."""

import hashlib
import mmap
import re
from pathlib import Path

import av
from av.error import FFmpegError

from spinproof.files.digest import sha256_of_file
from spinproof.film.opening import open_film
from spinproof.model.errors import EvidenceError
from spinproof.model.film import CleanCopy, FilmFacts

ISO_6709 = re.compile(rb"[+-]\d{2}\.\d{3,}[+-]\d{3}\.\d{3,}")
"""A place in the spelling that cameras write into films, ISO 6709 annex H."""
HARMLESS = re.compile(r"(major_brand|minor_version|compatible_brands|language|vendor_id|DURATION)$")
SHORTEST_CANARY = 4


def copy_without_metadata(source: Path, facts: FilmFacts, target: Path) -> CleanCopy:
    """Copy picture and sound of a film into a new MP4, and prove that no metadata went along.

    Parameters
    ----------
    source : Path
        The film.
    facts : FilmFacts
        Its facts, from `probe`.
    target : Path
        Where the copy goes; overwritten.

    Returns
    -------
    CleanCopy
        Its hashes, and what was left out.

    Raises
    ------
    EvidenceError
        If the container cannot carry the film's codec, or something of the metadata survives
        in the bytes of picture or sound, where only encoding anew removes it.
    """
    packets = _remux(source, target)
    if packets != facts.packets_sha256:
        target.unlink(missing_ok=True)
        raise EvidenceError(
            "the copy's picture is not the film's, packet by packet",
            where=source.name,
            mend="The disk or the film is damaged; copy it again from the camera.",
        )
    left = what_is_left(target, facts)
    if left:
        target.unlink(missing_ok=True)
        raise EvidenceError(
            f"metadata sits inside picture or sound themselves: {', '.join(left)}",
            where=source.name,
            mend="Publish it encoded anew, with `spinproof film publish`.",
        )
    removed = sorted(name for name in facts.tags if not HARMLESS.search(name))
    return CleanCopy(
        sha256=sha256_of_file(target),
        packets_sha256=packets,
        parent_sha256=facts.sha256,
        removed=(*removed, *facts.other_tracks),
    )


def _remux(source: Path, target: Path) -> str:
    digest = hashlib.sha256()
    options = {"fflags": "+bitexact", "movflags": "+faststart"}
    try:
        with (
            open_film(source) as film,
            av.open(str(target), "w", format="mp4", options=options) as out,
        ):
            streams = [film.streams.video[0], *film.streams.audio[:1]]
            copies = {s.index: out.add_stream_from_template(s) for s in streams}
            for copy in copies.values():
                copy.metadata.clear()
            for packet in film.demux(streams):
                if not packet.size:
                    continue
                if packet.stream.type == "video":
                    digest.update(bytes(packet))
                packet.stream = copies[packet.stream.index]
                out.mux(packet)
    except (FFmpegError, ValueError) as error:
        raise EvidenceError(
            f"the film cannot be copied into an MP4 without encoding it anew ({error})",
            where=source.name,
            mend="Publish it encoded anew, with `spinproof film publish`.",
        ) from error
    return digest.hexdigest()


def what_is_left(copy: Path, facts: FilmFacts) -> tuple[str, ...]:
    """Look for a film's metadata in the bytes of a copy.

    Parameters
    ----------
    copy : Path
        The copy.
    facts : FilmFacts
        What the original said about place, device and time.

    Returns
    -------
    tuple of str
        Names of what was found; empty when nothing was.
    """
    wanted = {
        name: value.encode()
        for name, value in facts.tags.items()
        if len(value) >= SHORTEST_CANARY
        and not HARMLESS.search(name)
        and not name.endswith(("handler_name", "encoder"))
    }
    with copy.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        found = [name for name, value in wanted.items() if data.find(value) >= 0]
        if ISO_6709.search(data):
            found.append("a place by ISO 6709")
    with open_film(copy) as film:
        found.extend(name for name in film.metadata if not HARMLESS.search(name))
    return tuple(found)
