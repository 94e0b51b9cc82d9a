"""What a source is, and what it says beside its samples."""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Protocol

from spinproof.record.stream_block import StreamBlock

Push = Callable[[StreamBlock], None]
_MOST_NOTICES = 500


class NoticeKind(StrEnum):
    """What a source has to say."""

    LOST = "lost"
    """The connection went away."""
    BACK = "back"
    """The connection came back."""
    UNREADABLE = "unreadable"
    """The device does not give a channel."""
    VANISHED = "vanished"
    """A node that was there is not there any more."""
    MISSING = "missing"
    """A reading is no number, or the device says that it has none."""
    FOREIGN = "foreign"
    """An answer to another question, or of another unit; it was thrown away."""
    STALE = "stale"
    """A retained message from before; it was thrown away."""
    GAP = "gap"
    """Numbers of messages that did not arrive."""
    TWICE = "twice"
    """A message whose number was there already."""
    LATE = "late"
    """A reading that came after younger ones had been passed on; it was thrown away."""
    NONSENSE = "nonsense"
    """A message that cannot be understood."""
    STOPPED = "stopped"
    """The source ended by an error of its reader."""


@dataclass(frozen=True)
class Notice:
    """Something that a source has to say.

    Attributes
    ----------
    kind : NoticeKind
        What it is about.
    channel : str or None
        The channel, or None for the whole source.
    text : str
        The same in words.
    first_ns : int
        Monotonic time of the host when it happened first. [ns]
    times : int
        How often it happened.
    """

    kind: NoticeKind
    channel: str | None
    text: str
    first_ns: int
    times: int = 1


class Source(Protocol):
    """Delivers a stream in a thread of its own; it only reads, and never writes to a device."""

    name: str

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What it had to say so far, the oldest first."""

    def start(self, push: Push) -> None:
        """Connect, and deliver from then on; StandError when the source cannot be reached."""

    def stop(self) -> None:
        """Deliver what is still held, and end the thread; a second call does nothing."""


class NoticeBoard:
    """Collects notices from any thread; the same one again is counted."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._notices: dict[tuple[NoticeKind, str | None, str], Notice] = {}

    def tell(
        self, kind: NoticeKind, text: str, *, channel: str | None = None, times: int = 1
    ) -> None:
        """Note something; what is beyond the five-hundredth kind of notice is left out."""
        key = kind, channel, text
        with self._lock:
            known = self._notices.get(key)
            if known is not None:
                self._notices[key] = replace(known, times=known.times + times)
            elif len(self._notices) < _MOST_NOTICES:
                self._notices[key] = Notice(kind, channel, text, time.monotonic_ns(), times)

    def count(self, kind: NoticeKind, text: str, times: int) -> None:
        """Set how often something has happened; zero takes the notice away."""
        key = kind, None, text
        with self._lock:
            if times == 0:
                self._notices.pop(key, None)
                return
            known = self._notices.get(key)
            first_ns = time.monotonic_ns() if known is None else known.first_ns
            self._notices[key] = Notice(kind, None, text, first_ns, times)

    def all(self) -> tuple[Notice, ...]:
        """Give what was told, the oldest first."""
        with self._lock:
            return tuple(self._notices.values())
