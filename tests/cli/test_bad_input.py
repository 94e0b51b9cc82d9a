"""What is wrong is said in one paragraph: what, where, how to mend it; nothing is lost."""

import os
import signal
import socket
import threading
from pathlib import Path

import pytest
from tests.cli.command import Commands
from tests.demo_files import DEMO_DATA, LOWER, UPPER

from spinproof.record.trace_file import read_trace
from spinproof.virtualhead.process_host import StandProcess

FILES = {
    "--head": DEMO_DATA / "lower.head.toml",
    "--channels": DEMO_DATA / "lower.channels.toml",
    "--recipe": DEMO_DATA / "cr-1.recipe.toml",
    "--load": DEMO_DATA / "partial.load.toml",
}


def options(**other: str | Path) -> list[str | Path]:
    """Give the files of a run as options, some of them replaced."""
    chosen = FILES | {f"--{key}": value for key, value in other.items()}
    return [part for pair in chosen.items() for part in pair]


def table(path: Path, header: str, *rows: str) -> Path:
    path.write_text("\n".join([header, *rows]) + "\n")
    return path


def test_a_recipe_that_is_not_toml(spinproof: Commands, tmp_path: Path):
    bad = tmp_path / "bad.recipe.toml"
    bad.write_text('name = "CR-1"\n[[steps]\nname = "rinse"\n')

    said = spinproof.refused("record", "--stand", "localhost:1", *options(recipe=bad))

    assert "line 2" in said.error
    assert str(bad) in said.error
    assert said.status == 2


def test_a_recipe_with_a_wrong_key(spinproof: Commands, tmp_path: Path):
    bad = tmp_path / "bad.recipe.toml"
    bad.write_text(FILES["--recipe"].read_text().replace("speed_rpm = 1750.0", "speed = 1750.0"))

    said = spinproof.refused("record", "--stand", "localhost:1", *options(recipe=bad))

    assert "steps[3].speed_rpm is missing" in said.error
    assert "spinproof schema recipe" in said.error


def test_a_file_that_is_not_there(spinproof: Commands, tmp_path: Path):
    said = spinproof.refused("judge", tmp_path / "none.parquet", "--limits", tmp_path / "no.toml")

    assert "no.toml" in said.error


def test_a_csv_without_its_columns(spinproof: Commands, tmp_path: Path):
    bad = table(tmp_path / "trace.csv", "time [s],display speed [rpm]", "0,0", "1,10")

    said = spinproof.refused("import", bad, *options(), "--out", tmp_path / "out")

    assert "trace.csv" in said.error
    assert not list((tmp_path / "out").glob("*.parquet"))


def one_channel(folder: Path) -> Path:
    """Make a channel map that asks for the display speed alone."""
    text = FILES["--channels"].read_text()
    head, *channels = text.split("[[channels]]")
    kept = next(part for part in channels if 'role = "display-speed"' in part)
    path = folder / "one.channels.toml"
    path.write_text(f"{head}[[channels]]{kept}")
    return path


@pytest.mark.parametrize(
    ("header", "rows", "word"),
    [
        ("time [s],display speed [Hz]", ["0,1", "1,2"], "Hz"),
        ("time [s],display speed", ["0,1", "1,2"], "display speed"),
        ("time [s],display speed [rpm]", [], "trace.csv"),
        ("time [s],display speed [rpm]", ["0,1", "2,3", "1,2"], "time"),
        ("time [s];display speed [rpm]", ["0;1,5", "1;2,5"], "commas"),
        ("time [s],display speed [rpm]", ["0,1", "1"], "line 3"),
    ],
    ids=["mixed units", "no unit", "empty", "time runs back", "semicolons", "ragged row"],
)
def test_a_csv_that_cannot_be_a_trace(
    spinproof: Commands, tmp_path: Path, header: str, rows: list[str], word: str
):
    bad = table(tmp_path / "trace.csv", header, *rows)

    said = spinproof.refused(
        "import", bad, *options(channels=one_channel(tmp_path)), "--out", tmp_path / "out"
    )

    assert word in said.error
    assert not list((tmp_path / "out").glob("*.parquet"))


def test_a_trace_that_is_none(spinproof: Commands, tmp_path: Path):
    bad = tmp_path / "trace.parquet"
    bad.write_bytes(b"PAR1 but nothing else")

    said = spinproof.refused("judge", bad, "--limits", DEMO_DATA / "run.limits.toml")

    assert "trace.parquet" in said.error
    assert said.status == 3


def test_a_package_that_is_none(spinproof: Commands, tmp_path: Path):
    (tmp_path / "letter.txt").write_text("hello")

    said = spinproof.refused("verify", tmp_path)

    assert said.status == 3


def test_a_stand_that_is_not_there(spinproof: Commands, tmp_path: Path):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]

    said = spinproof.refused(
        "record", "--stand", f"127.0.0.1:{port}", *options(), "--out", tmp_path
    )

    assert f"127.0.0.1:{port}" in said.error
    assert said.status == 4


def test_neither_a_stand_nor_a_stream(spinproof: Commands, tmp_path: Path):
    said = spinproof.refused("record", *options(), "--out", tmp_path)

    assert "without a stand the map names nothing to record" in said.error


def test_a_stand_that_disappears_in_mid_run(spinproof: Commands, tmp_path: Path):
    with StandProcess((UPPER, LOWER), speed_up=20.0) as stand:
        threading.Thread(target=kill_once_recording, args=(stand.pid, tmp_path)).start()
        said = spinproof.refused(
            *("record", "--stand", f"{stand.host}:{stand.port}", *options()),
            *("--out", tmp_path, "--start", "--patience", "0"),
        )

    (trace,) = tmp_path.glob("*.parquet")
    assert "stand lost" in said.error
    assert "What was recorded is sealed" in said.error
    assert read_trace(trace).duration_s > 0
    assert said.status == 4


def kill_once_recording(pid: int, folder: Path) -> None:
    """Kill a stand as soon as the journal holds some blocks."""
    while not any(path.stat().st_size > 20_000 for path in folder.glob("journals/*.journal")):
        os.sched_yield()
    os.kill(pid, signal.SIGKILL)


def test_a_stand_address_without_a_port(spinproof: Commands, tmp_path: Path):
    said = spinproof.refused("record", "--stand", "bench", *options(), "--out", tmp_path)

    assert "localhost:5020" in said.error


def test_a_port_in_use(spinproof: Commands, tmp_path: Path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])

        stand = spinproof.refused(
            "virtual-head",
            "--upper",
            DEMO_DATA / "upper.head.toml",
            "--lower",
            DEMO_DATA / "lower.head.toml",
            "--port",
            port,
        )
        pages = spinproof.refused("serve", "--home", tmp_path, "--port", port)

    assert port in stand.error
    assert port in pages.error


def test_a_map_of_another_head(spinproof: Commands, stand: str, tmp_path: Path):
    swapped = tmp_path / "swapped.channels.toml"
    text = FILES["--channels"].read_text()
    swapped.write_text(text.replace("unit_id = 2", "unit_id = 1"))

    said = spinproof.refused(
        "record", "--stand", stand, *options(channels=swapped), "--out", tmp_path / "out", "--start"
    )

    assert "QM-207-U" in said.error
    assert "QM-207-L" in said.error


def test_a_plan_for_an_envelope_that_leaves_nothing(spinproof: Commands, tmp_path: Path):
    narrow = tmp_path / "narrow.head.toml"
    text = FILES["--head"].read_text()
    narrow.write_text(text.replace("process_time_limit_s = 480.0", "process_time_limit_s = 10.0"))

    said = spinproof.refused(
        "plan",
        "--head",
        narrow,
        "--recipe",
        FILES["--recipe"],
        "--load",
        FILES["--load"],
    )

    assert said.status == 2


def test_a_dossier_of_a_head_that_nobody_knows(spinproof: Commands, tmp_path: Path):
    said = spinproof.refused("dossier", "QM-999", "--home", tmp_path)

    assert "QM-999" in said.error


def test_a_demo_in_a_folder_that_holds_something_else(spinproof: Commands, tmp_path: Path):
    (tmp_path / "thesis.txt").write_text("years of work")

    said = spinproof.refused("demo", "--home", tmp_path, "--no-serve")

    assert (tmp_path / "thesis.txt").read_text() == "years of work"
    assert said.status == 4
