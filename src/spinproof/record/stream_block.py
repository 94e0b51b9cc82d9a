"""What a source of a stream delivers: blocks of samples, before they are kept."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class StreamBlock:
    """Some samples of a stream, as its source delivered them.

    Attributes
    ----------
    stream : str
        Name of the stream.
    sequence : int
        The source's own number of the block, for gaps and duplicates.
    first_sample : int
        Number of the first sample since the source began to count.
    arrival_ns : int
        Monotonic time of the host at the arrival. [ns]
    counts : ndarray, shape (samples, channels)
        What the source sent; a float that is not finite means no reading.
    device_time_ns : int or None
        The source's clock at the first sample, if it tells it. [ns]
    times_ns : ndarray of int64, shape (samples,), or None
        The source's clock at each sample, for a stream that is not regular. [ns]
    """

    stream: str
    sequence: int
    first_sample: int
    arrival_ns: int
    counts: NDArray[Any]
    device_time_ns: int | None = None
    times_ns: NDArray[np.int64] | None = None
