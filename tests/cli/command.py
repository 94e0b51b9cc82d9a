"""Run a command as its user would, and give what it said."""

import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from spinproof.cli.main import main


@dataclass(frozen=True)
class Said:
    """How a command ended, and what it printed."""

    status: int
    out: str
    error: str


class Commands:
    """Runs commands in this process."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
        self._monkeypatch = monkeypatch
        self._capsys = capsys

    def __call__(self, *arguments: str | Path) -> Said:
        """Run ``spinproof ARGUMENTS``."""
        self._monkeypatch.setattr(sys, "argv", ["spinproof", *map(str, arguments)])
        status = 0
        try:
            main()
        except SystemExit as stop:
            status = stop.code if isinstance(stop.code, int) else 1
        captured = self._capsys.readouterr()
        return Said(status, captured.out, captured.err)

    def refused(self, *arguments: str | Path) -> Said:
        """Run a command that must be refused: one paragraph, a status, no traceback."""
        said = self(*arguments)
        assert said.status not in {0, None}
        assert "Traceback" not in said.error
        assert len(said.error.strip().splitlines()) == 1, said.error
        assert said.error.startswith("spinproof: ")
        assert said.error.rstrip().endswith("]")
        return said
