"""Headers, hosts, methods and faults: what no page may get wrong."""

from pathlib import Path

import httpx
import pytest
from tests.web.running import served
from tests.web.seed import HEAD, Bench

from spinproof.app.browsing import Browser
from spinproof.model.errors import BusyError, StorageError, TraceError

ANSWERS = (
    "/",
    f"/heads/{HEAD}",
    "/runs/QA-1041-L-001",
    f"/heads/{HEAD}/strip.svg",
    "/api/runs/QA-1041-L-001/trace",
    "/static/spinproof.css",
    "/nothing",
    "/api/nothing",
)


@pytest.mark.parametrize("path", ANSWERS)
def test_every_answer_carries_the_security_headers(client: httpx.Client, path: str):
    headers = client.get(path).headers

    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cache-control"] == ("no-cache" if path.startswith("/static") else "no-store")


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example", "", "localhost:x", "[::2]"]
)
def test_other_hosts_are_refused(client: httpx.Client, host: str):
    answer = client.get("/", headers={"host": host})

    assert answer.status_code == 400
    assert "QA-1041" not in answer.text
    assert "<code>host</code>" in answer.text


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "LOCALHOST:8040", "[::1]:8040"])
def test_this_machine_is_always_answered(client: httpx.Client, host: str):
    assert client.get("/", headers={"host": host}).status_code == 200


def test_a_host_that_is_set_is_answered(bench: Bench):
    with served(bench.home, allowed_hosts=("Bench-7.shop",)) as address:
        answer = httpx.get(address, headers={"host": "bench-7.shop:8040"})

    assert answer.status_code == 303  # who comes by this name signs in
    assert answer.headers["location"] == "/sign-in?then=/"


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE", "OPTIONS"])
def test_a_page_that_only_shows_takes_nothing(client: httpx.Client, method: str):
    own = str(client.base_url).rstrip("/")
    answer = client.request(method, "/jobs/QA-1041", headers={"origin": own})

    assert answer.status_code == 405
    assert "<code>method</code>" in answer.text


@pytest.mark.parametrize("path", ["/docs", "/redoc", "/openapi.json"])
def test_no_page_describes_the_interface_to_strangers(client: httpx.Client, path: str):
    assert client.get(path).status_code == 404


@pytest.mark.parametrize(
    "path",
    [
        "/static/../application.py",
        "/static/%2e%2e/application.py",
        "/static/..%5capplication.py",
        "/dossiers/..%2f..%2fledger.db/document",
        "/runs/%00",
        "/runs/..%2f..%2fledger.db",
    ],
)
def test_paths_lead_nowhere_else(client: httpx.Client, path: str):
    answer = client.get(path)

    assert answer.status_code in {404, 405}
    assert b"SQLite format" not in answer.content
    assert "import" not in answer.text


def test_page_and_api_give_the_same_fault_in_their_own_dress(client: httpx.Client):
    document = client.get("/api/runs/nothing/trace").json()
    page = client.get("/runs/nothing").text

    assert document["code"] == "record"
    assert set(document) == {"what", "where", "mend", "code"}
    for part in document.values():
        assert part in page


@pytest.mark.parametrize(
    ("error", "status"), [(StorageError, 500), (TraceError, 500), (BusyError, 503)]
)
def test_errors_of_the_tree_never_name_a_folder_of_this_machine(
    client: httpx.Client, bench: Bench, monkeypatch: pytest.MonkeyPatch, error: type, status: int
):
    place = bench.home.root / "traces" / "x.parquet"

    def fails(*_: object) -> None:
        raise error(f"{place} cannot be read", where=str(place), mend="Mend the disk.")

    monkeypatch.setattr(Browser, "run", fails)
    answer = client.get("/runs/QA-1041-L-001")

    assert answer.status_code == status
    assert str(bench.home.root) not in answer.text
    assert "the home folder/traces/x.parquet" in answer.text


def test_a_fault_of_the_program_shows_no_stack_and_keeps_its_headers(
    client: httpx.Client, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
):
    def fails(*_: object) -> None:
        raise ZeroDivisionError("secret detail")

    monkeypatch.setattr(Browser, "shop", fails)
    answer = client.get("/")

    assert answer.status_code == 500
    assert "<code>internal</code>" in answer.text
    assert "secret detail" not in answer.text
    assert "ZeroDivisionError" not in answer.text
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "secret detail" in caplog.text


def test_a_missing_trace_is_said_in_words(bench: Bench, client: httpx.Client, tmp_path: Path):
    with bench.ledger.reading() as records:
        sealed = bench.home.trace(records.run("QA-1041-L-003").trace_sha256)
    aside = tmp_path / sealed.name
    sealed.rename(aside)
    try:
        answer = client.get("/api/runs/QA-1041-L-003/trace")
        page = client.get("/runs/QA-1041-L-003")
    finally:
        aside.rename(sealed)

    assert answer.status_code == 500
    assert answer.json()["code"] == "storage"
    assert str(bench.home.root) not in answer.text
    assert page.status_code == 200
