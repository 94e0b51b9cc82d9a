"""Plans over the pages: made, looked at, edited into another, opened as a campaign."""

import csv
import io
import re
from collections.abc import Iterator
from html import unescape

import httpx
import pytest
from tests.demo_files import DEMO_DATA, JOB
from tests.web.floor_client import form_on
from tests.web.running import served
from tests.web.seed import AS_BUILT, HEAD, Bench, empty_bench

PLANS = f"/heads/{HEAD}/plans"
ASKED = {"name": "burn-in", "runs": "24", "seed": "3"}


def files(**changed: bytes) -> dict[str, tuple[str, bytes]]:
    given = {
        "recipe": (DEMO_DATA / "cr-1.recipe.toml").read_bytes(),
        "load": (DEMO_DATA / "partial.load.toml").read_bytes(),
    } | changed
    return {name: (f"{name}.toml", data) for name, data in given.items()}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    made = empty_bench(tmp_path_factory.mktemp("shop"))
    with made.ledger.transaction("RT-1", made.now) as records:
        records.add_job(JOB)
    made.configure(AS_BUILT)
    yield made
    made.ledger.close()


@pytest.fixture(scope="module")
def client(bench: Bench) -> Iterator[httpx.Client]:
    with served(bench.home) as address:
        base = address.rstrip("/")
        with httpx.Client(base_url=base, headers={"origin": base}, timeout=60) as opened:
            yield opened


def make(client: httpx.Client, asked: dict[str, str], given: dict[str, tuple[str, bytes]]):
    hidden = form_on(client.get(PLANS).text, PLANS)
    return client.post(PLANS, data={**hidden, **asked}, files=given)


@pytest.fixture(scope="module")
def plan(client: httpx.Client) -> str:
    answer = make(client, ASKED, files())
    assert answer.status_code == 303, answer.text
    return answer.headers["location"]


def edited(client: httpx.Client, plan: str, end: str = "/edit", **fields: str) -> httpx.Response:
    page = client.get(plan).text
    hidden = {k: v for k, v in form_on(page, plan + end).items() if k.startswith("form-")}
    return client.post(plan + end, data={**hidden, **fields})


def page(client: httpx.Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return unescape(answer.text)


def test_a_plan_shows_its_measures_beside_ordinary_generators(client: httpx.Client, plan: str):
    shown = page(client, plan)

    assert "smallest distance" in shown
    assert "Sobol" in shown
    assert re.search(r"pairs of levels</th><td>\d+ of \d+</td>", shown)
    assert "if every run counts" in shown
    assert "DI water" in shown


def test_the_form_says_that_the_first_plan_takes_longer(client: httpx.Client):
    assert "The first plan after an installation compiles its searches" in page(client, PLANS)


def test_its_figures_are_drawings_with_an_alternative(client: httpx.Client, plan: str):
    for name in ("coverage.svg", "fill.svg", "warmth.svg"):
        drawing = client.get(f"{plan}/{name}")
        assert drawing.headers["content-type"].startswith("image/svg+xml")
        assert re.search("<title>[^<]{20,}</title>", drawing.text)


def test_its_points_can_be_measured_by_anybody(client: httpx.Client, plan: str):
    points = list(csv.reader(io.StringIO(client.get(f"{plan}/plan_unit.csv").text)))
    levels = list(csv.reader(io.StringIO(client.get(f"{plan}/plan_levels.csv").text)))

    assert len(points[0]) == 8
    assert all(0 <= float(value) <= 1 for row in points[1:] for value in row)
    assert len(levels) == 25


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"what": "pin", "number": "9"}, "Pinned run 9"),
        ({"what": "move", "number": "20", "to": "12"}, "place 20 to place 12"),
        ({"what": "choose anew", "seed": "8"}, "seed 8"),
    ],
    ids=["pin", "move", "choose anew"],
)
def test_an_edit_gives_another_plan_and_says_what_was_done(client, plan, fields, said):
    before = page(client, plan)
    answer = edited(client, plan, **fields)

    assert answer.status_code == 303, answer.text
    assert answer.headers["location"] != plan
    assert said in page(client, answer.headers["location"])
    assert "Edited by hand" not in before
    assert "Edited by hand" not in page(client, plan)


def levels(client: httpx.Client, plan: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(client.get(f"{plan}/plan_levels.csv").text)))


def test_a_region_that_is_kept_out_holds_no_run(client: httpx.Client, plan: str):
    before = levels(client, plan)
    times = [float(row["final_dry_s"]) for row in before if row["cell"] == "inside the envelope"]
    stay = {float(row["final_dry_s"]) for row in before if row["cell"] != "inside the envelope"}
    unwanted = next(time for time in times if time not in stay)
    fields = {"factor": "final_dry_s", "low": str(unwanted), "high": str(unwanted)}
    answer = edited(client, plan, "/keep-out", **fields)

    assert answer.status_code == 303, answer.text
    after = levels(client, answer.headers["location"])
    assert unwanted not in {float(row["final_dry_s"]) for row in after}
    assert len(after) == len(before)


@pytest.mark.parametrize(
    ("asked", "given", "said"),
    [
        ({}, files(recipe=b"steps = 3"), "recipe"),
        ({}, files(recipe=b"\xff\xfe"), "is no text"),
        ({}, {"load": files()["load"]}, "Choose a TOML file."),
        ({"runs": "7"}, files(), "At least 8."),
        ({"runs": "12"}, files(), "Too few runs"),
        ({"water_l": "some"}, files(), "Write a number alone"),
        ({"water_l": "20"}, files(), "20"),
    ],
    ids=["no recipe", "no text", "no file", "few", "too few", "no number", "no such budget"],
)
def test_what_cannot_be_planned_is_said_and_nothing_is_kept(client, plan, asked, given, said):
    kept = page(client, PLANS).count("/plans/")
    answer = make(client, ASKED | asked, given)

    assert answer.status_code in {409, 422}, answer.text
    assert said in unescape(answer.text)
    assert page(client, PLANS).count("/plans/") == kept


@pytest.mark.parametrize(
    ("end", "fields", "said"),
    [
        ("/edit", {"what": "move", "number": "2", "to": "99"}, "99"),
        ("/edit", {"what": "pin", "number": "99"}, "99"),
        ("/edit", {"what": "burn"}, "Choose one of"),
        ("/keep-out", {"factor": "rinse_rpm", "low": "9", "high": "3"}, "the lower one first"),
        ("/keep-out", {"factor": "rinse_rpm", "low": "0", "high": "9000"}, "rinse"),
    ],
    ids=["no such place", "no such run", "no such edit", "turned around", "everything"],
)
def test_an_edit_that_cannot_be_leaves_the_plan(client, plan, end, fields, said):
    answer = edited(client, plan, end, **fields)

    assert answer.status_code in {409, 422}, answer.text
    assert said in unescape(answer.text)


def test_a_plan_that_is_not_there_is_told(client: httpx.Client):
    assert client.get(f"{PLANS}/{'0' * 64}").status_code == 404


def test_a_campaign_is_opened_under_a_plan(client: httpx.Client, bench: Bench, plan: str):
    answer = edited(client, plan, "/open")

    assert answer.headers["location"] == f"/heads/{HEAD}/burn-in"
    with bench.ledger.reading() as reading:
        assert reading.campaign(HEAD).plan_sha256 == plan.rsplit("/", 1)[1]
    assert "opened as campaign 1" in page(client, plan)
    assert "Open a campaign" not in page(client, plan)
