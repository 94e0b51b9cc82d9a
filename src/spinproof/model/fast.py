"""Fast streams of a run: what is said of each, and how its samples are read piece by piece."""

from collections.abc import Collection, Iterator
from typing import Annotated, Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from spinproof.model.channel import Channel
from spinproof.model.noun import Name, NotNegative, Noun, Positive

Count = Annotated[int, Field(ge=0)]


class StreamClock(Noun):
    """How the clock of a stream stood against the run's clock, the recorder's monotonic one."""

    stream: Name
    offset_s: float
    """The run's time when the stream's clock stood at its first sample. [s]"""
    offset_uncertainty_s: NotNegative
    """Standard uncertainty of the offset. [s]"""
    drift_ppm: float
    """Time that passes on the stream's clock too much, in a million; negative: it is slow."""
    drift_uncertainty_ppm: NotNegative
    """Standard uncertainty of the drift. [ppm]"""
    blocks: Count
    """Number of blocks that the estimate rests on."""
    widest_delay_s: NotNegative
    """How much longer than the quickest the slowest block took to arrive. [s]"""

    @property
    def in_words(self) -> str:
        """The same as a sentence."""
        if self.blocks == 0:
            return f"No block of {self.stream} arrived; nothing is known of its clock."
        return (
            f"The clock of {self.stream} began at {self.offset_s:.4f} s of the run "
            f"(standard uncertainty {1e3 * self.offset_uncertainty_s:.2f} ms) and drifts by "
            f"{self.drift_ppm:+.2f} ppm (standard uncertainty {self.drift_uncertainty_ppm:.2f} "
            f"ppm), from {self.blocks} blocks, of which the slowest took "
            f"{1e3 * self.widest_delay_s:.1f} ms longer than the quickest."
        )


class FastGap(Noun):
    """A hole in a fast stream."""

    after: Count
    """Number of samples in the file before the hole."""
    missing: Annotated[int, Field(ge=1)]
    """Number of samples that are missing."""


class FastSpec(Noun):
    """What the file of a fast stream says about itself."""

    schema_version: Literal["spinproof.fast.v1"] = "spinproof.fast.v1"
    run: Name
    stream: Name
    channels: Annotated[tuple[Channel, ...], Field(min_length=1, strict=False)]
    """In the order of the file's columns; all of one count type."""
    nominal_rate_hz: Positive
    """Rate by the stream's own clock. [Hz]"""
    rate_hz: Positive
    """Rate by the run's clock: the nominal one, the drift taken out. [Hz]"""
    start_s: float
    """Time of the first sample on the run's clock. [s]"""
    gaps: Annotated[tuple[FastGap, ...], Field(strict=False)] = ()
    clock: StreamClock | None = None
    """How the stream's clock stood against the run's, if it was compared."""


class FastFile(Noun):
    """A file of a fast stream beside a trace, as the trace's summary lists it."""

    sha256: Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
    samples: Count
    """Samples of each channel."""
    size: Count
    """Length of the file. [byte]"""
    spec: FastSpec


class FastSamples(Protocol):
    """The samples of a fast stream, read batch by batch; never all at once."""

    @property
    def channels(self) -> tuple[Channel, ...]:
        """Meaning, scale and offset of each column."""

    @property
    def rate_hz(self) -> float:
        """Rate by the run's clock [Hz]."""

    @property
    def start_s(self) -> float:
        """Time of the first sample on the run's clock [s]."""

    @property
    def samples(self) -> int:
        """Samples of each channel."""

    @property
    def starts_s(self) -> NDArray[np.float64]:
        """Time of the first sample of each batch; a batch has no hole in it [s]."""

    def batches(self, channels: Collection[str] | None = None) -> Iterator[NDArray[Any]]:
        """Give counts, some 30 s at a time: a row for a sample, a column for a channel."""
