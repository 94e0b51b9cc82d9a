"""Files kept once by their SHA-256: whole or not at all."""

from pathlib import Path

import pytest
from tests.ledger.full_disk import no_file_beyond

from spinproof.files.digest import sha256_of_bytes
from spinproof.files.kept import KeptFiles
from spinproof.model.errors import StorageError


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "film.mp4"
    path.write_bytes(b"frame" * 500_000)
    return path


def test_a_file_is_kept_under_the_sum_of_its_bytes(tmp_path: Path, source: Path):
    kept = KeptFiles(tmp_path / "kept")
    sha256 = kept.keep(source)

    assert sha256 == sha256_of_bytes(source.read_bytes())
    assert kept.place(sha256).read_bytes() == source.read_bytes()
    assert kept.holds(sha256, source.stat().st_size)
    assert not kept.holds(sha256, 3)
    assert not kept.holds("0" * 64, 3)


def test_a_file_that_is_kept_already_stays_as_it_is(tmp_path: Path, source: Path):
    kept = KeptFiles(tmp_path / "kept")
    place = kept.place(kept.keep(source))
    before = place.stat().st_mtime_ns

    assert kept.place(kept.keep(source)).stat().st_mtime_ns == before
    assert [path for path in kept.folder.rglob("*") if path.is_file()] == [place]


def test_no_part_of_a_file_stays_on_a_full_disk(tmp_path: Path, source: Path):
    kept = KeptFiles(tmp_path / "kept")
    with no_file_beyond(1_500_000), pytest.raises(StorageError):
        kept.keep(source)

    assert [path for path in kept.folder.rglob("*") if path.is_file()] == []


def test_a_missing_file_is_told_in_words(tmp_path: Path):
    with pytest.raises(StorageError, match="no such file"):
        KeptFiles(tmp_path / "kept").keep(tmp_path / "none")
