"""The stop chain of a run as it happens: speed, index, seal, lock, each when it was seen."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from spinproof.judge.readings import Readings
from spinproof.judge.segments import Stretch
from spinproof.judge.stop_order import breaches
from spinproof.judge.stop_sequence import Moment, StopSequence, find_stop_sequence
from spinproof.model.channel import Role
from spinproof.model.head import HeadSpec
from spinproof.model.registers import STEP_STOPPING
from spinproof.model.run import Ending, RunHeader
from spinproof.model.trace import Signal, Trace

KEPT = frozenset(
    {
        Role.TACH_COUNT,
        Role.TACH_EDGE,
        Role.OPTICAL_COUNT,
        Role.OPTICAL_EDGE,
        Role.SPEED,
        Role.STATUS,
        Role.STEP,
        Role.SEAL_PRESSURE,
    }
)
"""What tells the stop chain."""
PIECE = 20
"""The chain is looked at anew after so many new samples."""


@dataclass(frozen=True)
class ChainLink:
    """One link of the chain."""

    words: str
    after_s: float | None
    """When it was seen, after the stop command; None while it was not. [s]"""


@dataclass(frozen=True)
class StopChain:
    """The chain, and what broke its order."""

    links: tuple[ChainLink, ...]
    wrong: tuple[str, ...]


class StopWatch:
    """Follows the stop of one run, by the rules that judge it afterwards."""

    def __init__(self, header: RunHeader) -> None:
        self._header = header
        self._pieces: dict[str, list[Signal]] = {}
        self._stop_s: float | None = None
        self._fresh = 0
        self.chain: StopChain | None = None
        """None until the stop command."""

    def follow(self, new: Mapping[str, Signal]) -> None:
        """Take new samples in; before the stop only the last look is kept."""
        for name, signal in new.items():
            if signal.channel.role is Role.STEP and self._stop_s is None:
                self._find_stop(signal)
            if signal.channel.role in KEPT:
                kept = self._pieces.setdefault(name, [])
                if self._stop_s is None:
                    kept[:] = kept[-1:]
                kept.append(signal)
        if self._stop_s is None or not new:
            return
        self._fresh += max(signal.time_s.size for signal in new.values())
        if self._fresh >= PIECE or self.chain is None:
            self._fresh = 0
            self.chain = self._look(self._stop_s)

    def _find_stop(self, signal: Signal) -> None:
        at = np.flatnonzero(signal.counts == STEP_STOPPING)
        if at.size:
            self._stop_s = float(signal.time_s[at[0]])

    def _look(self, stop_s: float) -> StopChain:
        signals = {
            name: Signal(
                pieces[0].channel,
                np.concatenate([piece.time_s for piece in pieces]),
                np.concatenate([piece.counts for piece in pieces]),
            )
            for name, pieces in self._pieces.items()
        }
        readings = Readings(Trace(self._header, signals, (), Ending.COMPLETE, ""))
        stopping = Stretch(
            STEP_STOPPING, stop_s, readings.end_s, 0.0, 0.0, has_start=True, has_end=False
        )
        head = self._header.head
        sequence = find_stop_sequence(readings, (stopping,), head)
        wrong, _ = breaches(sequence, readings, head)
        return StopChain(links_of(sequence, head, stop_s), tuple(wrong))


def links_of(sequence: StopSequence, head: HeadSpec, stop_s: float) -> tuple[ChainLink, ...]:
    """Give the chain in words, each link with its moment after the stop command."""
    named: tuple[tuple[str, Moment | None], ...] = (
        (f"slower than {head.index_enable_rpm:g} rpm", sequence.slow),
        ("positioner out", sequence.positioner),
        ("index proven", sequence.home),
        ("seal told to vent", sequence.vent),
        (f"seal below {head.seal_release_kpa_g:g} kPa", sequence.vented),
        ("lock released by the controller", sequence.released),
    )
    return tuple(
        ChainLink(words, None if moment is None else round(moment.time_s - stop_s, 1))
        for words, moment in named
    )
