"""What the tests of the sources share."""

import threading

import pytest


class Inbox:
    """Collects the blocks of a source, and waits for what should come."""

    def __init__(self):
        self.blocks = []
        self._news = threading.Condition()

    def __call__(self, block):
        """Take a block."""
        with self._news:
            self.blocks.append(block)
            self._news.notify_all()

    def wait_for(self, holds, seconds=20.0):
        """Wait until a condition on the blocks holds."""
        with self._news:
            assert self._news.wait_for(lambda: holds(self.blocks), seconds), self.blocks[-3:]
        return self.blocks

    def comes(self, holds, seconds=0.5):
        """Tell whether a condition on the blocks holds soon."""
        with self._news:
            return self._news.wait_for(lambda: holds(self.blocks), seconds)

    def rows(self):
        """Give all samples received so far, one list each."""
        return [row for block in list(self.blocks) for row in block.counts.tolist()]

    def wait_for_rows(self, count, seconds=20.0):
        """Wait for some number of samples."""
        self.wait_for(lambda blocks: sum(len(b.counts) for b in blocks) >= count, seconds)
        return self.rows()


@pytest.fixture
def inbox():
    return Inbox()


@pytest.fixture
def run_source(inbox):
    """Start sources into the inbox; whatever was started is stopped at the end."""
    started = []

    def begin(source):
        started.append(source)
        source.start(inbox)
        return source

    yield begin
    for source in started:
        source.stop()
