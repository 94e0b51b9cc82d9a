"""A home folder with a small burn-in and its dossier, made once; tests of pages only read it."""

from collections.abc import Iterator

import httpx
import pytest
from tests.web.running import served
from tests.web.seed import HEAD, Bench, demo_bench

from spinproof.app.handing_over import issue_dossier


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    made = demo_bench(tmp_path_factory.mktemp("shop"))
    issue_dossier(made.home, made.ledger, HEAD)
    yield made
    made.ledger.close()


@pytest.fixture(scope="session")
def client(bench: Bench) -> Iterator[httpx.Client]:
    with served(bench.home) as address, httpx.Client(base_url=address) as opened:
        yield opened
