"""The traces of a run while it is recorded, each with its expected band and what leaves it."""

from collections.abc import Mapping

import numpy as np

from spinproof.app.live_bands import SHOWN, BandWatch, Expectation, Floats
from spinproof.app.views import LiveTrace
from spinproof.app.watching import KEPT_S
from spinproof.figures.units import printed_unit
from spinproof.model.channel import Role
from spinproof.model.handover import Series
from spinproof.model.limit import LimitSet
from spinproof.model.run import RunHeader
from spinproof.model.trace import Signal


class TraceWatch:
    """Follows the speed and the process values of one run.

    Parameters
    ----------
    header : RunHeader
        What is known about the run.
    limits : LimitSet or None
        The agreed limits.
    """

    def __init__(self, header: RunHeader, limits: LimitSet | None) -> None:
        self._expected = Expectation(header.recipe, header.head, limits)
        self._watches: dict[str, BandWatch] = {}
        self.new: tuple[LiveTrace, ...] = ()
        """What came since the last look."""
        self.newest_s: float | None = None
        """The newest sample. [s]"""

    def follow(self, new: Mapping[str, Signal], curve: Series) -> None:
        """Take new samples in, and the speed that was found from them."""
        self._expected.follow(new)
        times = [float(signal.time_s[-1]) for signal in new.values() if signal.time_s.size]
        self.newest_s = max(times) if times else self.newest_s
        speed = np.array([np.nan if v is None else v for v in curve.values], dtype=float)
        traces = [self._trace(Role.SPEED, "speed", "rpm", np.array(curve.time_s), speed)]
        for name, signal in new.items():
            role = signal.channel.role
            if role in SHOWN:
                unit = signal.channel.unit
                traces.append(self._trace(role, name, unit, signal.time_s, signal.values))
        self.new = tuple(trace for trace in traces if trace.time_s)

    def out(self) -> tuple[str, ...]:
        """Say what is out of its band now."""
        said = (watch.said() for watch in self._watches.values())
        return tuple(words for words in said if words)

    def _trace(self, role: Role, name: str, unit: str, time_s: Floats, values: Floats) -> LiveTrace:
        low, high = self._expected.band(role, time_s)
        watch = self._watches.setdefault(name, BandWatch(name, printed_unit(unit)))
        watch.follow(time_s, values, low, high)
        late = time_s > (time_s[-1] - KEPT_S if time_s.size else 0.0)
        return LiveTrace(
            key=f"{role} {name}",
            name=name,
            unit=unit,
            time_s=tuple(map(float, time_s[late])),
            values=_plain(values[late]),
            low=_plain(low[late]),
            high=_plain(high[late]),
        )


def _plain(values: Floats) -> tuple[float | None, ...]:
    return tuple(round(float(v), 3) if np.isfinite(v) else None for v in values)
