"""Every test of the ledger runs on SQLite and on PostgreSQL."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tests import postgres
from tests.ledger.cases import AT
from tests.ledger.floor import START, Floor

from spinproof.ledger.ledger import Ledger, open_ledger


@pytest.fixture(scope="session")
def server() -> Iterator[postgres.Server]:
    with postgres.running_server() as running:
        yield running


@pytest.fixture(scope="session")
def empty_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("template") / "ledger.db"
    open_ledger(f"sqlite:///{path}", at=AT).close()
    return path


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory, empty_file: Path) -> Path:
    """File of a ledger whose head is built up, before its dry test."""
    return _played(tmp_path_factory, empty_file, Floor.take_in, Floor.up_to_build)


@pytest.fixture(scope="session")
def dry_passed(tmp_path_factory: pytest.TempPathFactory, built: Path) -> Path:
    """File of a ledger whose head has passed its dry test, and is balanced."""
    return _played(tmp_path_factory, built, Floor.pass_dry_test)


@pytest.fixture(scope="session")
def wet_passed(tmp_path_factory: pytest.TempPathFactory, dry_passed: Path) -> Path:
    """File of a ledger whose head has passed its wet test."""
    return _played(tmp_path_factory, dry_passed, Floor.pass_wet_test)


def _played(factory: pytest.TempPathFactory, before: Path, *acts: Callable[[Floor], None]) -> Path:
    path = factory.mktemp("played") / "ledger.db"
    shutil.copy(before, path)
    ledger = open_ledger(f"sqlite:///{path}", at=START)
    floor = Floor(ledger)
    for act in acts:
        act(floor)
    ledger.close()
    return path


@pytest.fixture(scope="session")
def empty_database(server: postgres.Server) -> str:
    name = server.new_database()
    open_ledger(server.url(name), at=AT).close()
    return name


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def backend(request: pytest.FixtureRequest) -> str:
    return request.param


@pytest.fixture
def bare_url(backend: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Address of a database without tables."""
    if backend == "sqlite":
        yield f"sqlite:///{tmp_path / 'ledger.db'}"
    else:
        running = request.getfixturevalue("server")
        name = running.new_database()
        yield running.url(name)
        running.drop(name)


@pytest.fixture
def url(backend: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Address of a ledger without records."""
    if backend == "sqlite":
        path = tmp_path / "ledger.db"
        shutil.copy(request.getfixturevalue("empty_file"), path)
        yield f"sqlite:///{path}"
    else:
        running = request.getfixturevalue("server")
        name = running.new_database(request.getfixturevalue("empty_database"))
        yield running.url(name)
        running.drop(name)


@pytest.fixture
def ledger(url: str) -> Iterator[Ledger]:
    opened = open_ledger(url, at=AT)
    yield opened
    opened.close()
