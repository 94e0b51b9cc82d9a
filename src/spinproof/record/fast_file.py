"""Files of fast streams: converter counts in an Arrow file beside the trace, named by its SHA-256.

A column is a channel; its scale, offset and unit stand in the schema. A record batch holds up to
30 s and never spans a hole, so that no run is ever held in memory whole.
"""

import hashlib
import json
import os
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pydantic import ValidationError

from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_file
from spinproof.files.durable import storage_errors, sync_folder, write_all
from spinproof.model.channel import Channel
from spinproof.model.errors import StorageError, TraceError
from spinproof.model.fast import FastFile, FastSpec
from spinproof.record.blocks import count_type

FAST_SUFFIX = ".fast"
"""How the name of a fast stream's file ends."""
BATCH_S = 30.0
"""Longest time in a record batch. [s]"""
_KEY = b"spinproof"


class FastReader:
    """The samples of a fast stream, read from its file batch by batch.

    Parameters
    ----------
    path : Path
        The file. Its bytes are not checked against its name, see `verified`.

    Raises
    ------
    TraceError
        If it is no such file, or is damaged.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        with storage_errors(path):
            path.stat()
        with _reading(path), pa.ipc.open_file(pa.memory_map(str(path))) as file:
            self.spec = FastSpec.from_document(json.loads((file.schema.metadata or {})[_KEY]))
            self.samples: int = file.count_rows()
            self._batches: int = file.num_record_batches
        self._lengths = list(_lengths(self.spec, self.samples))

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Meaning, scale and offset of each column."""
        return self.spec.channels

    @property
    def rate_hz(self) -> float:
        """Rate by the run's clock [Hz]."""
        return self.spec.rate_hz

    @property
    def start_s(self) -> float:
        """Time of the first sample on the run's clock [s]."""
        return self.spec.start_s

    @property
    def starts_s(self) -> NDArray[np.float64]:
        """Time of the first sample of each batch on the run's clock; no batch has a hole [s]."""
        places = np.cumsum([0, *self._lengths])[:-1]
        return sample_times(self.spec, places)

    def batches(self, channels: Collection[str] | None = None) -> Iterator[NDArray[Any]]:
        """Give the counts, batch by batch.

        Parameters
        ----------
        channels : collection of str, optional
            Which channels to decode; all when absent. They come in the order of the file.

        Yields
        ------
        ndarray, shape (samples, channels)
            Counts of up to 30 s; the samples of a channel lie side by side in memory. A single
            channel is not copied.

        Raises
        ------
        TraceError
            If the file is damaged, or holds no such channel.
        """
        names = [channel.name for channel in self.channels]
        with _reading(self.path):
            fields = sorted(names.index(name) for name in (names if channels is None else channels))
        options = pa.ipc.IpcReadOptions(included_fields=fields, use_threads=False)
        with _reading(self.path), pa.memory_map(str(self.path)) as source:
            file = pa.ipc.open_file(source, options=options)
            for i, length in enumerate(self._lengths):
                yield _side_by_side(file.get_batch(i), length)


def open_fast(path: Path) -> FastReader:
    """Open the file of a fast stream.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    FastReader
        Says what it holds, and reads it batch by batch.

    Raises
    ------
    TraceError
        If it is no such file, or is damaged.
    """
    return FastReader(path)


def verified(path: Path, sha256: str) -> FastReader:
    """Open the file of a fast stream after all its bytes were checked, in one pass.

    Parameters
    ----------
    path : Path
        The file.
    sha256 : str
        The hash that the trace lists, in hex.

    Returns
    -------
    FastReader
        Says what it holds, and reads it batch by batch.

    Raises
    ------
    TraceError
        If the file was changed.
    """
    found = sha256_of_file(path)
    if found != sha256:
        raise TraceError(
            f"the fast samples were changed: the SHA-256 of their file is {found}",
            where=str(path),
            mend="Take the original file again, for example from a backup.",
        )
    return FastReader(path)


def write_fast(folder: Path, spec: FastSpec, batches: Iterable[NDArray[Any]]) -> FastFile:
    """Write the file of a fast stream; it appears whole, under its own SHA-256, or not at all.

    Parameters
    ----------
    folder : Path
        Where it goes.
    spec : FastSpec
        What the file says about itself; its gaps say where batches end.
    batches : iterable of ndarray, shape (samples, channels)
        Counts in the order of time, in pieces of any length, of the type of the channels.

    Returns
    -------
    FastFile
        The file, for the trace's summary.

    Raises
    ------
    TraceError
        If the counts do not have the columns or the type that the channels say.

    Notes
    -----
    The same counts give the same bytes, however they come in pieces. StorageError says that the
    disk failed; nothing stays of the file then.
    """
    part = folder / f".{spec.run}.{spec.stream}.part"
    with storage_errors(part):
        try:
            descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
            try:
                sink = _HashingSink(descriptor)
                samples = _write(sink, spec, batches)
                os.fsync(descriptor)
            finally:
                os.close(descriptor)
            sha256 = sink.hash.hexdigest()
            part.replace(folder / (sha256 + FAST_SUFFIX))
        finally:
            part.unlink(missing_ok=True)
        sync_folder(folder)
    return FastFile(sha256=sha256, samples=samples, size=sink.size, spec=spec)


def sample_times(spec: FastSpec, places: NDArray[np.int64]) -> NDArray[np.float64]:
    """Give when samples were taken.

    Parameters
    ----------
    spec : FastSpec
        What the file says about itself.
    places : ndarray of int
        Places of samples in the file, from 0.

    Returns
    -------
    ndarray
        Times on the run's clock. [s]
    """
    after = np.array([gap.after for gap in spec.gaps], dtype=np.int64)
    missing = np.cumsum([0, *(gap.missing for gap in spec.gaps)])
    numbers = places + missing[np.searchsorted(after, places, side="right")]
    return np.asarray(spec.start_s + numbers / spec.rate_hz, dtype=np.float64)


class _HashingSink:
    """A file to write to, front to back, that hashes what passes."""

    closed = False

    def __init__(self, descriptor: int) -> None:
        self.hash = hashlib.sha256()
        self.size = 0
        self._descriptor = descriptor

    def write(self, data: bytes) -> int:
        self.hash.update(data)
        write_all(self._descriptor, data)
        self.size += len(data)
        return len(data)

    def flush(self) -> None:
        """Leave it to the flush at the end."""


def _write(sink: _HashingSink, spec: FastSpec, batches: Iterable[NDArray[Any]]) -> int:
    schema = _schema(spec)
    options = pa.ipc.IpcWriteOptions(compression="zstd", use_threads=False)
    samples = 0
    with pa.ipc.new_file(pa.PythonFile(sink, "w"), schema, options=options) as writer:
        for counts in _rebatched(spec, batches):
            columns = [pa.array(column) for column in counts]
            writer.write_batch(pa.record_batch(columns, schema=schema))
            samples += counts.shape[1]
    return samples


def _schema(spec: FastSpec) -> pa.Schema:
    kind = pa.from_numpy_dtype(count_type(spec.channels[0]))
    fields = [
        pa.field(
            channel.name,
            kind,
            nullable=False,
            metadata={
                "scale": repr(channel.scale),
                "offset": repr(channel.offset),
                "unit": channel.unit,
            },
        )
        for channel in spec.channels
    ]
    return pa.schema(fields, metadata={_KEY: canonical_json(spec.to_document())})


def _rebatched(spec: FastSpec, pieces: Iterable[NDArray[Any]]) -> Iterator[NDArray[Any]]:
    # Pieces of any length into batches, a row for a channel; the memory is used again.
    kind = count_type(spec.channels[0])
    held = np.empty((len(spec.channels), _batch_samples(spec)), dtype=kind)
    lengths = _lengths(spec, None)
    length, filled = next(lengths), 0
    for piece in pieces:
        if piece.ndim != 2 or piece.shape[1] != len(held) or piece.dtype != kind:
            raise TraceError(
                f"counts of shape {piece.shape} and type {piece.dtype} are no "
                f"{len(held)} columns of {kind}",
                where=f"run {spec.run}, stream {spec.stream}",
                mend="Correct the channels of that stream in the channel map.",
            )
        start = 0
        while start < len(piece):
            taken = piece[start : start + length - filled]
            held[:, filled : filled + len(taken)] = taken.T
            start, filled = start + len(taken), filled + len(taken)
            if filled == length:
                yield held[:, :filled]
                length, filled = next(lengths), 0
    if filled:
        yield held[:, :filled]


def _lengths(spec: FastSpec, samples: int | None) -> Iterator[int]:
    """Give the length of each batch; without end when the number of samples is not known."""
    most, done = _batch_samples(spec), 0
    ends = [gap.after for gap in spec.gaps if gap.after > 0]
    for end in [*ends, samples]:
        while end is None or done < end:
            length = most if end is None else min(most, end - done)
            done += length
            yield length


def _batch_samples(spec: FastSpec) -> int:
    return max(1, round(BATCH_S * spec.nominal_rate_hz))


def _side_by_side(batch: pa.RecordBatch, length: int) -> NDArray[Any]:
    if batch.num_rows != length:
        raise ValueError("its batches do not follow its gaps")
    columns: list[NDArray[Any]] = [column.to_numpy() for column in batch.columns]
    if len(columns) == 1:
        return columns[0][:, np.newaxis]
    return np.stack(columns).T


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    try:
        yield
    except StorageError:
        raise
    except ValidationError as error:
        raise TraceError(
            "what the file says about itself is not understood by this version",
            where=str(path),
            mend="Read the file with the version of this program that wrote it.",
        ) from error
    except (pa.ArrowException, OSError, ValueError, KeyError, TypeError) as error:
        said = str(error).partition("\n")[0]
        why = f"it holds no {said}" if isinstance(error, KeyError) else said
        raise TraceError(
            f"the file holds no fast samples, or is damaged: {why}",
            where=str(path),
            mend="Take the original file again, for example from a backup.",
        ) from error
