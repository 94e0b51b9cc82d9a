"""Vibration recordings as WAV: whole numbers or floating point, any width, read in blocks."""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from spinproof.files.durable import storage_errors
from spinproof.model.errors import TraceError

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_WIDTHS = {_PCM: {8, 16, 24, 32}, _FLOAT: {32, 64}}
_CUT_OFF = "the recording is cut off: it holds less than its header says"
_WHOLE = "End the recording before copying it, and take the original file again."
_ORIGINAL = "Take the original file again."


@dataclass(frozen=True)
class WavRecording:
    """What the header of a recording says.

    Attributes
    ----------
    path : Path
        The file.
    rate_hz : int
        Samples a second. [Hz]
    channels : int
        Number of channels.
    frames : int
        Samples of each channel.
    floating : bool
        Whether samples are floating point, with a full scale of 1.
    width : int
        Bits that a sample takes. [bit]
    valid : int
        Upper bits of them that count. [bit]
    start : int
        Where the samples begin. [byte]
    """

    path: Path
    rate_hz: int
    channels: int
    frames: int
    floating: bool
    width: int
    valid: int
    start: int

    @property
    def full_scale(self) -> int:
        """Reading of the full scale."""
        return 1 if self.floating else 1 << (self.width - 1)

    @property
    def resolution(self) -> int:
        """Distance of two readings; 0 for floating point, which does not tell it."""
        return 0 if self.floating else 1 << (self.width - self.valid)

    @property
    def highest(self) -> int:
        """Highest reading; the lowest, or the one above it, is its opposite."""
        return self.full_scale - self.resolution

    def blocks(self, channel: int, length: int) -> Iterator[NDArray[np.float64]]:
        """Give the readings of a channel, block by block.

        Parameters
        ----------
        channel : int
            From 1.
        length : int
            Samples in a block; the last may be shorter.

        Yields
        ------
        ndarray
            Readings.

        Raises
        ------
        TraceError
            If a reading is not finite, or the file shrinks meanwhile.
        """
        frame = self.channels * self.width // 8
        with storage_errors(self.path), self.path.open("rb") as file:
            file.seek(self.start)
            for first in range(0, self.frames, length):
                wanted = min(length, self.frames - first) * frame
                data = file.read(wanted)
                if len(data) < wanted:
                    raise TraceError(_CUT_OFF, where=str(self.path), mend=_WHOLE)
                values = self._decode(data).reshape(-1, self.channels)[:, channel - 1]
                if not np.isfinite(values).all():
                    raise TraceError(
                        "a reading is not finite",
                        where=f"{self.path}, after {first / self.rate_hz:g} s",
                        mend=_ORIGINAL,
                    )
                yield values.astype(np.float64)

    def _decode(self, data: bytes) -> NDArray[np.generic]:
        if self.floating:
            return np.frombuffer(data, f"<f{self.width // 8}")
        if self.width == 8:
            return np.frombuffer(data, np.uint8).astype(np.int16) - 128
        if self.width == 24:
            wide = np.zeros((len(data) // 3, 4), np.uint8)
            wide[:, 1:] = np.frombuffer(data, np.uint8).reshape(-1, 3)
            return wide.view("<i4").ravel() >> 8
        return np.frombuffer(data, f"<i{self.width // 8}")


def read_wav_header(path: Path) -> WavRecording:
    """Read what a WAV recording says about itself.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    WavRecording
        Its header, and its samples in blocks.

    Raises
    ------
    TraceError
        If it is no WAV, is compressed, empty, damaged or cut off.
    """
    with storage_errors(path), path.open("rb") as file:
        size = file.seek(0, 2)
        file.seek(0)
        start = file.read(12)
        if start[:4] == b"RF64":
            raise TraceError(
                "the recording is in the form for more than 4 GB (RF64), which is not read",
                where=str(path),
                mend="Record in files below 4 GB.",
            )
        if start[:4] != b"RIFF" or start[8:] != b"WAVE":
            raise TraceError(
                "the file is no WAV recording", where=str(path), mend="Name a WAV file."
            )
        return _read_chunks(file, size, path)


def _read_chunks(file: BinaryIO, size: int, path: Path) -> WavRecording:
    said = b""
    while len(head := file.read(8)) == 8:
        name, length = head[:4], int.from_bytes(head[4:], "little")
        here = file.tell()
        if name == b"data" and said:
            if here + length > size:
                raise TraceError(_CUT_OFF, where=str(path), mend=_WHOLE)
            return _recording(said, here, length, path)
        if name == b"fmt ":
            said = file.read(min(length, 64))
        file.seek(here + length + length % 2)
    raise TraceError(_CUT_OFF, where=str(path), mend=_WHOLE)


def _recording(said: bytes, start: int, length: int, path: Path) -> WavRecording:
    if len(said) < 16:
        raise TraceError(_CUT_OFF, where=str(path), mend=_WHOLE)
    form, channels, rate, _, frame, width = struct.unpack("<HHIIHH", said[:16])
    valid = width
    if form == _EXTENSIBLE and len(said) >= 26:
        valid, form = struct.unpack("<H4xH", said[18:26])
    if width not in _WIDTHS.get(form, set()):
        raise TraceError(
            f"the recording holds samples of format {form} with {width} bits",
            where=str(path),
            mend="Record as uncompressed WAV: PCM of 8 to 32 bits, or floating point.",
        )
    if not rate or not channels or frame != channels * width // 8 or not 0 < valid <= width:
        raise TraceError(
            "the header of the recording contradicts itself", where=str(path), mend=_ORIGINAL
        )
    return WavRecording(path, rate, channels, length // frame, form == _FLOAT, width, valid, start)
