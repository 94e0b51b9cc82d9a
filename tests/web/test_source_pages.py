"""The page of sources: what is there now, in every reading, and the draft of a map from it."""

import tomllib
from collections.abc import Iterator
from html import unescape

import httpx
import pytest
from tests.demo_files import LOWER, UPPER
from tests.web.running import served
from tests.web.seed import HEAD, Bench, burn_in_bench

from spinproof.virtualhead.process_host import StandProcess

PAGE = f"/heads/{HEAD}/sources"


@pytest.fixture(scope="module")
def stand() -> Iterator[str]:
    with StandProcess((UPPER, LOWER)) as running:
        yield f"{running.host}:{running.port}"


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    made = burn_in_bench(tmp_path_factory.mktemp("shop"))
    yield made
    made.ledger.close()


@pytest.fixture(scope="module")
def client(bench: Bench) -> Iterator[httpx.Client]:
    with served(bench.home) as address:
        base = address.rstrip("/")
        with httpx.Client(base_url=base, headers={"origin": base}, timeout=60) as opened:
            yield opened


def page(client: httpx.Client, **asked: object) -> str:
    answer = client.get(PAGE, params=asked)
    assert answer.status_code == 200, answer.text
    return unescape(answer.text)


def test_nothing_is_asked_until_a_source_is_named(client: httpx.Client):
    shown = page(client)

    assert "What a source offers for head" in shown
    assert '<pre id="text">' not in shown


def test_registers_are_shown_in_every_order_with_a_draft_of_the_map(
    client: httpx.Client, stand: str
):
    shown = page(client, kind="modbus-tcp", address=stand, unit_id=2, count=12)
    draft = shown.partition('<pre id="text">')[2].partition("</pre>")[0]
    drafted = tomllib.loads(draft)

    assert "each register with its next, as f32" in shown
    assert drafted["head"] == HEAD
    assert drafted["streams"][0]["source"] == "modbus-tcp"
    assert "spinproof bind" in shown
    assert 'nobody has said yet which instrument measures "register 0"' in shown


def test_a_stand_that_is_looked_at_again_and_again_refreshes_the_page(
    client: httpx.Client, stand: str
):
    shown = page(client, kind="stand", address=stand, unit_id=2, live="true")

    assert '<meta http-equiv="refresh" content="3">' in shown
    assert "Looked at again every 3 s." in shown


def test_a_known_value_that_nothing_reads_is_told(client: httpx.Client, stand: str):
    shown = page(client, kind="modbus-tcp", address=stand, unit_id=2, count=4, known="123456,5")

    assert "No pair of these registers reads 123456,5 in any order." in shown


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"kind": "modbus-tcp", "address": "127.0.0.1:1"}, "cannot be reached"),
        ({"kind": "modbus-tcp", "address": "192.0.2.7"}, "HOST:PORT"),
        ({"kind": "modbus-tcp", "address": ""}, "inside the shop's own network"),
        ({"kind": "opc-ua", "address": "opc.tcp://8.8.8.8:4840"}, "inside the shop's own network"),
        ({"kind": "mqtt", "address": "bench.example:1883"}, "inside the shop's own network"),
    ],
    ids=["nobody-there", "no-port", "empty", "another-network", "a-public-name"],
)
def test_a_source_that_cannot_be_looked_at_is_told_above_the_form(
    client: httpx.Client, asked: dict[str, str], said: str
):
    shown = page(client, **asked)

    assert 'role="alert"' in shown
    assert said in shown


def test_a_known_value_that_is_no_number_is_told(client: httpx.Client, stand: str):
    shown = page(client, kind="modbus-tcp", address=stand, unit_id=2, known="twelve")

    assert '"twelve" is no number' in shown


def test_what_is_no_kind_of_source_is_refused(client: httpx.Client):
    assert client.get(PAGE, params={"kind": "smoke"}).status_code == 422
