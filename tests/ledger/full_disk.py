"""A disk that is full: no file can grow beyond some size, as the system itself enforces."""

import resource
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def no_file_beyond(size: int) -> Iterator[None]:
    """Let every file of this process end at a size in bytes."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
