"""What drifts in the burn-in of a head, from its records."""

from contextlib import closing
from pathlib import Path

import pytest
from tests.drifting_shop import drifting_shop
from tests.shop import HEAD, open_shop

from spinproof.app.browsing import Browser
from spinproof.app.drifting import drift_of_head
from spinproof.model.errors import RecordError
from spinproof.model.series import Drift


def drift(root: Path, pace: float, fails: int | None = None) -> Drift:
    with closing(drifting_shop(root, pace, fails).ledger) as ledger:
        return drift_of_head(ledger, HEAD)


def test_a_creeping_seal_is_found_with_its_limit_and_the_ladder_stays_out(tmp_path: Path):
    found = drift(tmp_path, 0.03)
    (seal,) = found.drifting
    assert seal.metric == "seal_loss"
    assert len(found.runs) == 28
    assert "QA-1041-L-001" not in found.runs
    assert found.words[1] == "Left out, since they are the gentle ladder: 2 runs."
    assert seal.forecast is not None
    # truth: (5 - 2 - 30 * 0.03) / 0.03 = 70 runs after the last one
    assert seal.forecast.runs == pytest.approx(70, rel=0.25)
    assert found.simulated


def test_a_failure_at_the_end_belongs_to_the_series(tmp_path: Path):
    found = drift(tmp_path, 0.0, fails=20)
    assert found.runs[-1] == "QA-1041-L-020"
    assert found.words[0].startswith("Nothing drifts in what was looked at: campaign 1, 18 runs")
    assert found.words[-1] == (
        "The relevant failure QA-1041-L-020 came without a drift that these series show."
    )


def test_a_head_without_a_campaign_has_nothing_to_look_at(tmp_path: Path):
    with closing(open_shop(tmp_path).ledger) as ledger:
        assert "no campaign yet" in drift_of_head(ledger, HEAD).words[0]
        with pytest.raises(RecordError, match="no campaign 3"):
            drift_of_head(ledger, HEAD, 3)


def test_a_page_works_it_out_once_for_each_state_of_the_records(tmp_path: Path):
    shop = drifting_shop(tmp_path, 0.03, fails=12)
    with closing(shop.ledger) as ledger:
        browser = Browser(shop.home, ledger)
        assert browser.drift(HEAD) is browser.drift(HEAD)
        assert browser.drift(HEAD) == drift_of_head(ledger, HEAD)
