"""What drifts, on the page of a head."""

from contextlib import closing
from pathlib import Path

import httpx
from tests.drifting_shop import BEGIN, drifting_shop
from tests.shop import HEAD
from tests.web.running import served

from spinproof.app.people import FrontDesk


def test_a_drift_is_told_and_drawn(tmp_path: Path):
    shop = drifting_shop(tmp_path, 0.03)
    FrontDesk(shop.ledger).first_owner("OW-1", BEGIN)
    with (
        closing(shop.ledger),
        served(shop.home) as address,
        httpx.Client(base_url=address) as client,
    ):
        page = client.get(f"/heads/{HEAD}").text
        assert "Drift over the burn-in" in page
        assert "Pressure loss of the seal rises by" in page
        assert "it reaches its limit of 5 %/min" in page
        assert "Left out, since they are the gentle ladder: 2 runs." in page
        drawn = client.get(f"/heads/{HEAD}/drift/1.svg")
        assert drawn.headers["content-type"].startswith("image/svg+xml")
        assert "since about QA-1041-L-" in drawn.text
        assert client.get(f"/heads/{HEAD}/drift/1.svg").content == drawn.content
        assert client.get(f"/heads/{HEAD}/drift/2.svg").status_code == 404


def test_a_short_burn_in_says_that_its_runs_are_too_few(client: httpx.Client):
    assert "Too few runs to tell a drift" in client.get(f"/heads/{HEAD}").text
