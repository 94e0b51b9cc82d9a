"""Finding things by a word or a tag, and the history of anything in plain words."""

from collections.abc import Iterator
from contextlib import closing

import httpx
import pytest
from tests.web.parts_seed import NEW_SEAL, ROTOR, PartsShop, parts_shop, send
from tests.web.running import served
from tests.web.seed import HEAD
from tests.web.staff import STAFF, staffed_server

from spinproof.app.history_views import history_of, looks_like_a_tag
from spinproof.model.access import Role
from spinproof.model.tag import slips


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PartsShop]:
    made = parts_shop(tmp_path_factory.mktemp("shop"))
    yield made
    made.ledger.close()


@pytest.fixture(scope="module")
def client(shop: PartsShop) -> Iterator[httpx.Client]:
    with served(shop.home) as address, httpx.Client(base_url=address) as opened:
        yield opened


@pytest.mark.parametrize("typed", [ROTOR, ROTOR.lower(), f" {ROTOR[:5]}-{ROTOR[5:]} "])
def test_a_scanned_tag_leads_to_its_part(client: httpx.Client, typed: str):
    answer = client.get("/find", params={"q": typed})

    assert answer.status_code == 303
    assert answer.headers["location"] == f"/parts/{ROTOR}"


def test_a_tag_with_one_wrong_character_names_the_one_that_was_meant(client: httpx.Client):
    wrong = ROTOR.replace("01", "O1")
    text = client.get("/find", params={"q": wrong}).text

    assert ROTOR in {slip.tag for slip in slips(wrong)}
    assert "may be &#34;0&#34;" in text
    assert f'href="/parts/{ROTOR}"' in text
    assert f'value="{wrong}"' in text


def test_a_right_tag_that_the_shop_does_not_have_says_so(client: httpx.Client):
    text = client.get("/find", params={"q": "G123498654321H"}).text

    assert "no part of the shop has the tag G123498654321H".lower() in text.lower()


@pytest.mark.parametrize(
    ("asked", "names", "page"),
    [
        ("QA-1041", "QA-1041", "/jobs/QA-1041"),
        ("lower", HEAD, f"/heads/{HEAD}"),
        ("seal new", NEW_SEAL, f"/parts/{NEW_SEAL}"),
        ("S-RTR", ROTOR, f"/parts/{ROTOR}"),
        ("CRACK bolt", "QA-1041-FND-02", f"/positions/{HEAD}/RTR#findings"),
        ("window declined", "SC-20", "/jobs/QA-1041/scope#SC-20"),
        ("shop-rules", "shop rules", "/history?about="),
        ("7716Q", "QA-1041", "/jobs/QA-1041"),
    ],
)
def test_words_find_things_in_any_order_and_case(
    client: httpx.Client, asked: str, names: str, page: str
):
    text = client.get("/find", params={"q": asked}).text

    assert f">{names}<" in text
    assert f'href="{page}' in text


@pytest.mark.parametrize(
    "asked", ["nothing-like-this", "%%", "_", "100%", "' or 1=1 --", "rotor x"]
)
def test_what_nothing_holds_is_not_found(client: httpx.Client, asked: str):
    text = client.get("/find", params={"q": asked}).text

    assert "<table" not in text
    assert "Nothing holds" in text


def test_a_search_is_never_run_as_a_page(client: httpx.Client):
    evil = "<script>alert(1)</script>"

    assert evil not in client.get("/find", params={"q": evil}).text
    assert evil not in client.get("/history", params={"about": evil}).text
    assert client.get("/find", params={"q": "x" * 5000}).status_code == 422


def test_the_history_of_a_part_tells_who_when_what_and_why(client: httpx.Client):
    text = client.get("/history", params={"about": f"part {ROTOR}"}).text

    assert "<b>Part recorded</b> by TD-2" in text
    assert "Why: as received" in text
    assert "<dt>provenance</dt><dd>kept</dd>" in text
    assert "UTC" in text


def test_a_change_is_told_as_what_it_was_and_what_it_became(client: httpx.Client):
    page = "/jobs/QA-1041/scope"
    assert send(client, page, f"{page}/SC-30", state="declined", why="letter 9").status_code == 303
    text = client.get("/history", params={"about": "scope SC-30 of job QA-1041"}).text

    assert "<del>recommended</del>" in text
    assert "<ins>declined</ins>" in text
    assert "Why: letter 9" in text


def test_a_matter_has_one_history_from_its_opening_on(client: httpx.Client):
    name = "QA-1041-FND-01"
    text = client.get("/history", params={"about": f"matter {name}"}).text

    assert "<b>Opened</b> by TD-2" in text
    assert "<b>Step taken</b> by TD-2" in text
    assert "door seal loses 21 % in 60 s" in text


def test_long_histories_come_in_pages_without_a_gap(shop: PartsShop, client: httpx.Client):
    with shop.ledger.transaction("OW-1", shop.later()) as records:
        for number in range(70):
            records.add_scope_item("QA-1041", HEAD, f"line {number}")
    with shop.ledger.reading() as records:
        rows = [row.seq for row in records.audit()]
    seen: list[int] = []
    before = None
    while before is not None or not seen:
        page = history_of(shop.ledger, None, before=before)
        seen += [line.seq for line in page.lines]
        before = page.earlier

    assert seen == rows[::-1]
    assert "before=" in client.get("/history").text


def test_only_own_acts_are_shown_when_asked_for(shop: PartsShop):
    mine = history_of(shop.ledger, None, who="TD-2")

    assert {line.who for line in mine.lines} == {"TD-2"}
    assert mine.lines


@pytest.mark.parametrize(
    ("text", "is_tag"),
    [
        (ROTOR, True),
        ("qm207l-rtr01-1", True),
        ("seal", False),
        ("door seal 2", False),
        ("1041", False),
    ],
)
def test_what_looks_like_a_tag(text: str, is_tag: bool):  # noqa: FBT001 - a table
    assert looks_like_a_tag(text) is is_tag


def test_a_technician_sees_own_acts_and_an_inspector_everybodys(
    tmp_path_factory: pytest.TempPathFactory,
):
    with staffed_server(tmp_path_factory.mktemp("staffed")) as staff:
        owner = STAFF[Role.OWNER]
        with closing(staff.client(Role.TECHNICIAN)) as client:
            own = client.get("/history").text
        with closing(staff.client(Role.INSPECTOR)) as client:
            everything = client.get("/history").text
        with closing(staff.client(Role.PRESENTER)) as client:
            refused = client.get("/history")

    assert f" by {owner}," in everything
    assert f" by {owner}," not in own
    assert "Your own acts" in own
    assert refused.status_code == 403
