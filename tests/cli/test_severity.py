"""``severity`` as it is typed, on recordings written by SciPy."""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile
from tests.cli.command import Commands

RATE = 8000
FULL = 100.0  # m/s2
KNOWN = """
instrument = "VA-1"
full_scale_ms2 = 100.0
relative_uncertainty = 0.03
calibration_due = 2999-01-01
"""


def test_the_example_of_the_documentation_is_a_calibration(spinproof: Commands, tmp_path: Path):
    text = (Path(__file__).parents[2] / "docs" / "commands.md").read_text()
    example = text.partition("## What a full scale means")[2].split("```")[1]
    (tmp_path / "va-1.toml").write_text(example)
    path = record(tmp_path / "r.wav", tone(1))
    said = spinproof("severity", path, "--calibration", tmp_path / "va-1.toml")

    assert "overall: 22.51 mm/s rms, u 0.68 mm/s" in said.out


@pytest.fixture
def calibration(tmp_path: Path) -> Path:
    path = tmp_path / "va-1.toml"
    path.write_text(KNOWN)
    return path


def record(path: Path, acceleration: np.ndarray) -> Path:
    counts = np.clip(np.rint(acceleration / FULL * 32768), -32768, 32767)
    wavfile.write(path, RATE, counts.astype(np.int16))
    return path


def tone(seconds: float, peak: float = 10.0, frequency: float = 50.0) -> np.ndarray:
    """10 m/s2 peak at 50 Hz are 10 / (2 pi 50) / sqrt 2 m/s = 22.50791 mm/s rms."""
    return peak * np.sin(2 * np.pi * frequency * np.arange(round(seconds * RATE)) / RATE)


def test_a_known_tone_reads_its_severity_second_by_second(
    spinproof: Commands, tmp_path: Path, calibration: Path
):
    path, out = record(tmp_path / "r.wav", tone(45.25)), tmp_path / "out.json"

    said = spinproof("severity", path, "--calibration", calibration, "--json", out)

    report = json.loads(out.read_text())
    assert said.status == 0
    assert "overall: 22.51 mm/s rms, u 0.68 mm/s, 10 to 1000 Hz, 45 s" in said.out
    assert "left out: the last 0.250 s" in said.out
    assert report["velocity_mm_s"] == pytest.approx(22.50791, rel=1e-3)
    assert report["standard_uncertainty_mm_s"] == pytest.approx(0.03 * 22.50791, rel=1e-3)
    assert [s["start_s"] for s in report["seconds"]] == list(range(45))
    assert {round(s["velocity_mm_s"], 2) for s in report["seconds"]} == {22.51}
    assert report["crest_factor"] == pytest.approx(np.sqrt(2), rel=1e-3)
    assert report["kurtosis"] == pytest.approx(1.5, rel=1e-3)


def test_a_clipped_recording_is_not_believed(
    spinproof: Commands, tmp_path: Path, calibration: Path
):
    said = spinproof(
        "severity", record(tmp_path / "r.wav", tone(2, peak=150)), "--calibration", calibration
    )

    assert said.status == 1  # 1 - 2 / pi * asin(100 / 150) of a sine lies beyond the range
    assert "NOT BELIEVED, 54 % of samples clipped" in said.out


def test_silence_has_neither_crest_factor_nor_kurtosis(
    spinproof: Commands, tmp_path: Path, calibration: Path
):
    path = record(tmp_path / "r.wav", np.zeros(2 * RATE))
    said = spinproof("severity", path, "--calibration", calibration)

    assert said.status == 0
    assert "crest factor -, kurtosis -" in said.out


def test_volts_give_the_same_as_the_full_scale_and_an_ended_calibration_is_told(
    spinproof: Commands, tmp_path: Path, calibration: Path
):
    path = record(tmp_path / "r.wav", tone(2))
    volts = "ms2_per_volt = 50.0\nfull_scale_volt = 2.0"
    text = KNOWN.replace("full_scale_ms2 = 100.0", volts).replace("2999", "2001")
    calibration.write_text(text)
    said = spinproof("severity", path, "--calibration", calibration)

    assert "overall: 22.51 mm/s rms" in said.out
    assert "calibration ended on 2001-01-01: an indication only" in said.out


def pulses(path: Path, per_second: float, seconds: float, cell: str = "pulse [s]") -> Path:
    moments = np.arange(0.003, seconds, 1 / per_second)
    path.write_text("\n".join([cell, *(f"{moment:.6f}" for moment in moments)]))
    return path


def test_a_slow_shaft_is_told_by_its_tach_where_the_band_leaves_it_out(
    spinproof: Commands, tmp_path: Path, calibration: Path
):
    """2 m/s2 peak at 5 Hz are 2 / (2 pi 5) / sqrt 2 m/s = 45.0158 mm/s rms, below the band."""
    path = record(tmp_path / "r.wav", tone(4, peak=2.0, frequency=5.0))
    tach = pulses(tmp_path / "tach.csv", 20, 4)
    out = tmp_path / "out.json"

    said = spinproof(
        *("severity", path, "--calibration", calibration, "--json", out),
        *("--tach", tach, "--pulses-per-rev", "4"),
    )

    report = json.loads(out.read_text())
    assert said.status == 0
    assert report["velocity_mm_s"] < 0.1
    assert report["once_per_turn_mm_s"] == pytest.approx(45.0158, rel=1e-3)
    assert [s["speed_rpm"] for s in report["seconds"]] == pytest.approx([300] * 4, rel=1e-3)
    assert "at the speed of the shaft: 45.0" in said.out
    assert "below 600 rpm the band leaves the speed out" in said.out


def test_a_tach_that_tells_nothing_or_is_no_table_of_pulses_is_told(
    spinproof: Commands, tmp_path: Path, calibration: Path
):
    path = record(tmp_path / "r.wav", tone(2))
    task = ("severity", path, "--calibration", calibration, "--tach")

    said = spinproof(*task, pulses(tmp_path / "t.csv", 1, 8))
    assert "its pulses tell no speed in any second" in said.out
    spinproof.refused(*task, pulses(tmp_path / "t.csv", 20, 2, "pulse [ms]"))
    spinproof.refused(*task, pulses(tmp_path / "t.csv", 20, 2, "moment [s]"))
    spinproof.refused(*task, pulses(tmp_path / "t.csv", 20, 0.1))
    spinproof.refused(*task, pulses(tmp_path / "t.csv", 20, 2), "--pulses-per-rev", "0")
    (tmp_path / "t.csv").write_text("pulse [s]\n0.1\n0.3\n0.2\n0.4\n")
    spinproof.refused(*task, tmp_path / "t.csv")


def test_without_calibration_there_is_no_severity(spinproof: Commands, tmp_path: Path):
    said = spinproof.refused("severity", record(tmp_path / "r.wav", tone(2)))

    assert "no severity without it" in said.error


@pytest.mark.parametrize(
    "change",
    [
        ("full_scale_ms2 = 100.0", ""),
        ("full_scale_ms2 = 100.0", "full_scale_ms2 = 100.0\nms2_per_volt = 5.0"),
        ("full_scale_ms2 = 100.0", "ms2_per_volt = 5.0"),
        ("0.03", "0.0"),
        ("100.0", "-1.0"),
    ],
)
def test_a_calibration_that_does_not_say_one_thing_is_refused(
    spinproof: Commands, tmp_path: Path, calibration: Path, change: tuple[str, str]
):
    calibration.write_text(KNOWN.replace(*change))
    path = record(tmp_path / "r.wav", tone(2))

    spinproof.refused("severity", path, "--calibration", calibration)


def test_short_recordings_slow_ones_and_unnamed_channels_are_refused(
    spinproof: Commands, tmp_path: Path, calibration: Path
):
    path = tmp_path / "r.wav"
    known = ("--calibration", calibration)

    spinproof.refused("severity", record(path, tone(0.5)), *known)
    spinproof.refused("severity", calibration, *known)
    spinproof.refused("severity", record(path, tone(2)), *known, "--channel", "2")
    wavfile.write(path, 1000, np.zeros(4000, np.int16))
    spinproof.refused("severity", path, *known)
    wavfile.write(path, RATE, np.zeros((2 * RATE, 2), np.int16))
    spinproof.refused("severity", path, *known)
    assert spinproof("severity", path, *known, "--channel", "2").status == 0
