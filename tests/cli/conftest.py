"""Fixtures of the command line's tests."""

from collections.abc import Iterator

import pytest
from tests.cli.command import Commands
from tests.demo_files import LOWER, UPPER

from spinproof.virtualhead.process_host import StandProcess


@pytest.fixture
def spinproof(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Commands:
    """Commands, run in this process."""
    return Commands(monkeypatch, capsys)


@pytest.fixture(scope="module")
def stand() -> Iterator[str]:
    """Address of a virtual stand, as fast as its reader."""
    with StandProcess((UPPER, LOWER)) as running:
        yield f"{running.host}:{running.port}"
