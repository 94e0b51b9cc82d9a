"""What a recipe will do, over the pages: asked, answered with intervals, calibrated on own runs."""

import re
from collections.abc import Iterator
from html import unescape

import httpx
import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD
from tests.web.floor_client import form_on
from tests.web.running import served
from tests.web.seed import HEAD, Bench, burn_in_bench

from spinproof.model.head_model import Origin
from spinproof.model.plan import Asked
from spinproof.plan.planning import compose

PAGE = f"/heads/{HEAD}/predict"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    made = burn_in_bench(tmp_path_factory.mktemp("shop"))
    asked = Asked(
        customer=(CR_1,), customer_load=PARTIAL_LOAD, customer_runs=2, corner_runs=1, total_runs=4
    )
    with made.ledger.transaction("TT-1", made.later(1)) as records:
        records.keep_plan(compose("asked", LOWER, asked, 7))
    yield made
    made.ledger.close()


@pytest.fixture(scope="module")
def client(bench: Bench) -> Iterator[httpx.Client]:
    with served(bench.home) as address:
        base = address.rstrip("/")
        with httpx.Client(base_url=base, headers={"origin": base}, timeout=60) as opened:
            yield opened


def page(client: httpx.Client, **asked: str) -> str:
    answer = client.get(PAGE, params=asked)
    assert answer.status_code == 200, answer.text
    return unescape(answer.text)


@pytest.fixture(scope="module")
def recipe(client: httpx.Client) -> str:
    return re.findall(r'<option value="([0-9a-f]{16})"', page(client))[-1]


def test_before_any_run_everything_is_specified_or_prior(client: httpx.Client, recipe: str):
    shown = page(client)

    assert "Nothing is calibrated yet" in shown
    assert "only runs do" in shown
    assert "CR-1 revision" in shown


def test_a_recipe_is_answered_with_intervals_and_what_rules_them(client: httpx.Client, recipe: str):
    shown = page(client, recipe=recipe, ask="predict")

    assert re.search(r"<b>\d+(\.\d+)? s</b> until dry", shown)
    assert "Calibrate first." in shown
    assert "weigh" in shown
    assert "What would change the dry time most" in shown
    assert shown.count("<svg") == 3


def test_better_recipes_are_a_front_with_intervals(client: httpx.Client, recipe: str):
    shown = page(client, recipe=recipe, ask="advise")

    assert "none is better in every way" in shown
    assert "shortest" in shown
    assert "driest" in shown
    assert "Calibrate first." in shown


def test_without_a_run_nothing_is_calibrated(client: httpx.Client, bench: Bench):
    hidden = form_on(client.get(PAGE).text, f"/heads/{HEAD}/calibrate")
    answer = client.post(f"/heads/{HEAD}/calibrate", data=hidden)

    assert answer.status_code in {404, 409, 422}
    assert "no run of the present configuration" in unescape(answer.text).lower()
    with bench.ledger.reading() as reading:
        assert reading.head_models(HEAD) == ()


@pytest.mark.parametrize(
    "asked",
    [{"dry_g": "-1"}, {"dry_g": "some"}, {"seed": "-2"}, {"ask": "guess"}, {"recipe": "0" * 16}],
    ids=["negative", "no number", "seed", "no such question", "no such recipe"],
)
def test_what_cannot_be_asked_is_refused(client: httpx.Client, recipe: str, asked: dict[str, str]):
    answer = client.get(PAGE, params={"recipe": recipe, **asked})

    assert answer.status_code in {404, 422}


def test_own_runs_calibrate_drag_and_the_page_remembers_them(
    client: httpx.Client, bench: Bench, recipe: str
):
    for _ in range(3):
        bench.attempt()
    hidden = form_on(client.get(PAGE).text, f"/heads/{HEAD}/calibrate")
    answer = client.post(f"/heads/{HEAD}/calibrate", data=hidden)
    shown = page(client)
    with bench.ledger.reading() as reading:
        (model,) = reading.head_models(HEAD)

    assert answer.headers["location"] == PAGE
    assert "of its runs (simulated)" in shown
    assert "What the runs do not say" in shown
    drag = model.parameter("quadratic_drag_n_m_s2")
    assert drag.origin is Origin.CALIBRATED
    assert drag.low <= LOWER.quadratic_drag_n_m_s2 <= drag.high
