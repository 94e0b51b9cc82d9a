"""The demo's folder: made anew each time, and never at the cost of something else."""

from pathlib import Path

import pytest

from spinproof.app.demo import MARKER, _fresh_home
from spinproof.model.errors import BusyError


def test_a_second_demo_starts_afresh_without_asking(tmp_path: Path):
    first = _fresh_home(tmp_path / "demo")
    (first.traces / "old.parquet").write_text("of the first demo")

    second = _fresh_home(tmp_path / "demo")

    assert list(second.traces.iterdir()) == []
    assert (second.root / MARKER).exists()


def test_a_folder_that_no_demo_made_is_left_alone(tmp_path: Path):
    (tmp_path / "letters").mkdir()

    with pytest.raises(BusyError, match="no demo made"):
        _fresh_home(tmp_path)

    assert (tmp_path / "letters").is_dir()
