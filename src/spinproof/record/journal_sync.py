"""Flushing a journal to the disk in a thread of its own, so that a slow disk holds up nobody."""

import os
import threading


class JournalSync:
    """Flushes an open file when asked; the one who asks does not wait.

    Parameters
    ----------
    descriptor : int
        The open file; it must stay open until `stop` returned.
    """

    def __init__(self, descriptor: int) -> None:
        self.error: OSError | None = None
        """What the system said when a flush failed; it is never tried again after that."""
        self._descriptor = descriptor
        self._changed = threading.Condition()
        self._wanted = self._busy = self._stopping = False
        self._thread: threading.Thread | None = None

    def ask(self) -> None:
        """Have all that was written by now flushed, as soon as an earlier flush is through."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="journal sync", daemon=True)
            self._thread.start()
        with self._changed:
            self._wanted = self.error is None
            self._changed.notify_all()

    def wait(self) -> None:
        """Wait until all that was asked for is done, or has failed."""
        with self._changed:
            self._changed.wait_for(lambda: not (self._wanted or self._busy))

    @property
    def is_idle(self) -> bool:
        """Whether all that was asked for is done, or has failed."""
        with self._changed:
            return not (self._wanted or self._busy)

    def stop(self) -> None:
        """End the thread; what it is flushing is flushed first."""
        if self._thread is not None:
            with self._changed:
                self._stopping = True
                self._changed.notify_all()
            self._thread.join()
            self._thread = None

    def _work(self) -> None:
        while self.error is None:
            with self._changed:
                self._changed.wait_for(lambda: self._wanted or self._stopping)
                if self._stopping:
                    return
                self._wanted, self._busy = False, True
            failure = self._flush()
            with self._changed:
                self.error = failure
                self._busy = False
                self._wanted = self._wanted and failure is None
                self._changed.notify_all()

    def _flush(self) -> OSError | None:
        try:
            os.fdatasync(self._descriptor)
        except OSError as error:  # a second try would report success for bytes that are lost
            return error
        return None
