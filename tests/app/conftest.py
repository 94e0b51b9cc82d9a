"""Fixtures of the use cases' tests."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.demo_files import LOWER, UPPER
from tests.shop import HEAD, Shop, open_shop

from spinproof.app.burn_in import Station
from spinproof.app.recording import StandAddress
from spinproof.virtualhead.process_host import StandProcess


@pytest.fixture(scope="module")
def address() -> Iterator[StandAddress]:
    """Serve a virtual stand, as fast as its reader."""
    with StandProcess((UPPER, LOWER)) as stand:
        yield StandAddress(stand.host, stand.port)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """Open a shop with the demo's job."""
    opened = open_shop(tmp_path / "home")
    yield opened
    opened.ledger.close()


@pytest.fixture
def station(shop: Shop, address: StandAddress) -> Station:
    """Put the lower head on the stand."""
    return Station(shop.home, shop.ledger, HEAD, address, "TT-1", simulated_start=True, seed=3)
