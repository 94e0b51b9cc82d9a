"""Taking a film in: what it holds, and a copy without metadata."""

import json
import subprocess
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from spinproof.film.clean_copy import copy_without_metadata
from spinproof.film.demo_film import Camera, FilmedRun, film_run
from spinproof.film.probe import probe
from spinproof.model.errors import EvidenceError
from spinproof.model.film import SoundState

PLACE = "+48.1234+011.5678/"
TAGS = (("location", PLACE), ("com.quillphone.model", "Quillphone 9"))


def still(seconds: float = 3.0) -> FilmedRun:
    time = np.array([0.0, seconds])
    return FilmedRun(time, np.array([20.0, 20.0]), (0.5,), np.zeros(2))


def a_film(folder: Path, **camera) -> Path:
    path = folder / "film.mp4"
    film_run(path, still(), Camera(lead_s=1.0, tail_s=1.0, **camera), seed=3)
    return path


def shown(path: Path, *what: str) -> dict:
    said = subprocess.run(
        ["ffprobe", "-v", "error", "-of", "json", *what, str(path)],
        check=True,
        capture_output=True,
        text=True,
    )
    return json.loads(said.stdout)


def test_facts_agree_with_ffprobe(tmp_path):
    path = a_film(tmp_path)
    facts = probe(path)
    video = shown(path, "-count_packets", "-show_streams", "-select_streams", "v")["streams"][0]

    assert facts.frames == int(video["nb_read_packets"]) == 150
    assert (facts.width, facts.height) == (video["width"], video["height"])
    assert facts.duration_s == pytest.approx(5.0, abs=0.01)
    assert facts.rate_hz == pytest.approx(30.0, rel=1e-3)
    assert facts.sound.state is SoundState.USABLE
    assert not facts.is_rate_variable


def test_a_variable_frame_rate_is_seen(tmp_path):
    facts = probe(a_film(tmp_path, is_rate_variable=True))

    assert facts.is_rate_variable
    assert any("frame rate varies" in said for said in facts.remarks)


def test_a_film_without_sound_says_what_cannot_be_heard(tmp_path):
    facts = probe(a_film(tmp_path, has_sound=False))

    assert facts.sound.state is SoundState.NONE
    assert any("no sound" in said for said in facts.remarks)


def test_a_silent_track_is_no_sound(tmp_path):
    assert probe(a_film(tmp_path, loudness=0.0)).sound.state is SoundState.SILENT


def test_a_clipped_sound_is_told(tmp_path):
    assert probe(a_film(tmp_path, loudness=0.9)).sound.state is SoundState.CLIPPED


def test_a_picture_that_is_called_a_film_is_refused(tmp_path):
    path = tmp_path / "run.mp4"
    Image.new("L", (64, 48)).save(path, format="JPEG")

    with pytest.raises(EvidenceError, match="a JPEG picture, whatever its name says"):
        probe(path)


def test_a_film_without_its_index_is_refused_in_words(tmp_path):
    path = a_film(tmp_path)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])

    with pytest.raises(EvidenceError, match="cut short or damaged"):
        probe(path)


def test_a_film_cut_short_behind_its_index_says_how_much_is_there(tmp_path):
    path, whole = tmp_path / "short.mp4", a_film(tmp_path)
    copy_without_metadata(whole, probe(whole), path)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    facts = probe(path)

    assert facts.duration_s < 4.0
    assert any("promises 5.0 s and holds" in said for said in facts.remarks)


def test_a_text_is_no_film(tmp_path):
    path = tmp_path / "run.mov"
    path.write_text("#EXTM3U\nother.mp4\n" * 20)

    with pytest.raises(EvidenceError, match="no film"):
        probe(path)


def test_place_and_device_are_gone_from_the_copy_and_the_picture_is_the_same(tmp_path):
    path, copy = a_film(tmp_path, tags=TAGS), tmp_path / "copy.mp4"
    facts = probe(path)
    assert PLACE.encode() in path.read_bytes()

    clean = copy_without_metadata(path, facts, copy)

    assert clean.packets_sha256 == facts.packets_sha256 == probe(copy).packets_sha256
    assert clean.parent_sha256 == facts.sha256
    assert {"location", "com.quillphone.model"} <= set(clean.removed)
    data = copy.read_bytes()
    assert PLACE.encode() not in data
    assert b"Quillphone" not in data
    tags = shown(copy, "-show_format")["format"]["tags"]
    assert set(tags) <= {"major_brand", "minor_version", "compatible_brands"}


def test_the_same_seed_gives_the_same_film(tmp_path):
    (tmp_path / "again").mkdir()

    assert probe(a_film(tmp_path)).sha256 == probe(a_film(tmp_path / "again")).sha256
