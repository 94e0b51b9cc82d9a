"""A trace: all channels of a run over time."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spinproof.model.channel import Channel, Role
from spinproof.model.fast import FastFile, FastSamples, StreamClock
from spinproof.model.run import Ending, Incident, RunHeader


@dataclass(frozen=True, eq=False)
class Signal:
    """One channel of a trace: what the device sent, and when.

    Attributes
    ----------
    channel : Channel
        The channel's map entry, with its scale, unit and instrument.
    time_s : ndarray
        Seconds since the first sample of the trace, never decreasing. [s]
    counts : ndarray
        What the device sent: integers, or floats for imported traces.
    """

    channel: Channel
    time_s: NDArray[np.float64]
    counts: NDArray[Any]

    @property
    def values(self) -> NDArray[np.float64]:
        """Readings in the channel's unit; NaN where the device had none."""
        values = self.counts.astype(np.float64) * self.channel.scale + self.channel.offset
        if self.channel.missing is not None:
            values[self.counts == self.channel.missing] = np.nan
        values[~np.isfinite(values)] = np.nan
        return np.asarray(values, dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Trace:
    """A sealed recording of one run.

    Attributes
    ----------
    header : RunHeader
        What was known before the first sample.
    signals : mapping of str to Signal
        By channel name.
    incidents : tuple of Incident
        What the recording noticed about itself.
    ending : Ending
        How the recording ended.
    sha256 : str
        SHA-256 of the sealed file, in hex.
    fast : tuple of FastFile
        Files beside it with the samples of fast streams.
    clocks : tuple of StreamClock
        How the clocks of the streams stood against the run's.
    open_fast : callable, optional
        Opens one of the files of fast streams, after its bytes were checked.
    """

    header: RunHeader
    signals: Mapping[str, Signal]
    incidents: tuple[Incident, ...]
    ending: Ending
    sha256: str
    fast: tuple[FastFile, ...] = ()
    clocks: tuple[StreamClock, ...] = ()
    open_fast: Callable[[FastFile], FastSamples] | None = None

    def role(self, role: Role) -> Signal | None:
        """Give the signal that fills a role, or None when the map has none."""
        for signal in self.signals.values():
            if signal.channel.role is role:
                return signal
        return None

    def fast_samples(self) -> Iterator[FastSamples]:
        """Open the samples of the fast streams one by one."""
        if self.open_fast is not None:
            yield from map(self.open_fast, self.fast)

    @property
    def duration_s(self) -> float:
        """Time from the first to the last sample, in seconds."""
        return max((float(s.time_s[-1]) for s in self.signals.values() if s.time_s.size), default=0)
