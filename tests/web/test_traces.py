"""The curves of a run, as data and drawn."""

import httpx
import pytest

RUN = "QA-1041-L-002"
PATH = f"/api/runs/{RUN}/trace"


def test_curves_are_sorted_by_unit_with_the_speed_first(client: httpx.Client):
    document = client.get(PATH).json()
    panels = document["panels"]

    assert [panel["unit"] for panel in panels][:2] == ["rpm", "L/min"]
    assert [curve["name"] for curve in panels[0]["curves"]] == [
        "speed, optical tach",
        "speed, tach",
        "set-point",
    ]
    for panel in panels:
        for curve in panel["curves"]:
            assert len(curve["time_s"]) == len(curve["values"]) > 0


def test_thinned_curves_keep_their_peaks(client: httpx.Client):
    whole = client.get(PATH).json()
    assert not whole["whole"]

    vibration = next(panel for panel in whole["panels"] if panel["unit"] == "mm/s")["curves"][0]
    peak = max(vibration["values"])
    at = vibration["time_s"][vibration["values"].index(peak)]
    close = client.get(PATH, params={"from_s": at - 5, "to_s": at + 5}).json()
    full = next(panel for panel in close["panels"] if panel["unit"] == "mm/s")["curves"][0]

    assert close["whole"]
    assert len(full["values"]) > 150
    assert max(full["values"]) == peak


def test_a_part_holds_only_its_own_samples(client: httpx.Client):
    part = client.get(PATH, params={"from_s": 100, "to_s": 110}).json()

    measured = [c for panel in part["panels"] for c in panel["curves"] if c["name"] != "set-point"]
    assert part["from_s"] == 100
    assert part["to_s"] == 110
    assert all(100 <= time <= 110 for curve in measured for time in curve["time_s"])


@pytest.mark.parametrize(
    ("part", "status"),
    [
        ({"from_s": 20, "to_s": 10}, 404),
        ({"from_s": 99999}, 404),
        ({"from_s": -1}, 422),
        ({"from_s": "nan"}, 422),
        ({"to_s": "inf"}, 422),
        ({"from_s": "soon"}, 422),
    ],
)
def test_a_part_that_cannot_be_is_refused_in_the_one_shape(
    client: httpx.Client, part: dict[str, object], status: int
):
    answer = client.get(PATH, params=part)

    assert answer.status_code == status
    assert set(answer.json()) == {"what", "where", "mend", "code"}


def test_the_figure_shows_the_run_for_paper(client: httpx.Client):
    answer = client.get(f"/runs/{RUN}/figure.svg")

    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert f"Run {RUN}: relevant failure" in answer.text
    assert "SIMULATED" in answer.text
    assert "fast dry" in answer.text
