"""Every test of the ledger runs on SQLite and on PostgreSQL."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests import postgres
from tests.ledger.cases import AT
from tests.ledger.floor import START, Floor, Stages

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
def stages(tmp_path_factory: pytest.TempPathFactory, empty_file: Path) -> Stages:
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    (shared / "stages").mkdir(exist_ok=True)
    return Stages(shared / "stages", empty_file)


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


def _floor(stage: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Floor]:
    stages: Stages = request.getfixturevalue("stages")
    if request.getfixturevalue("backend") == "sqlite":
        path = tmp_path / "played.db"
        shutil.copy(stages.file(stage), path)
        ledger = open_ledger(f"sqlite:///{path}", at=START)
        yield Floor(ledger)
        ledger.close()
        return
    running = request.getfixturevalue("server")
    template = stages.database(stage, running, request.getfixturevalue("empty_database"))
    name = running.new_database(template)
    ledger = open_ledger(running.url(name), at=START)
    yield Floor(ledger)
    ledger.close()
    running.drop(name)


@pytest.fixture
def floor(request: pytest.FixtureRequest, backend: str, tmp_path: Path) -> Iterator[Floor]:
    """Give a head that is built up, before its dry test."""
    yield from _floor("built", request, tmp_path)


@pytest.fixture
def bonding(request: pytest.FixtureRequest, backend: str, tmp_path: Path) -> Iterator[Floor]:
    """Give a head at its bonding check, under lockout."""
    yield from _floor("bonding", request, tmp_path)


@pytest.fixture
def dry_made(request: pytest.FixtureRequest, backend: str, tmp_path: Path) -> Iterator[Floor]:
    """Give a head whose dry test is made, and not signed."""
    yield from _floor("dry made", request, tmp_path)


@pytest.fixture
def wet_floor(stages: Stages, tmp_path: Path) -> Iterator[Floor]:
    """Give a head that has passed its wet test, in a file."""
    path = tmp_path / "wet.db"
    shutil.copy(stages.file("wet"), path)
    ledger = open_ledger(f"sqlite:///{path}", at=START)
    yield Floor(ledger)
    ledger.close()
