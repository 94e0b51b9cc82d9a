"""What spares a new user time: tables, sheets to fill in, a second person, a machine on a page."""

import csv
import io
from collections.abc import Iterator

import httpx
import pytest
from tests.web.parts_seed import WINDOW, PartsShop, fields_of, parts_shop, send
from tests.web.running import served
from tests.web.seed import HEAD, OWNER
from tests.web.staff import QUICK, WORD

from spinproof.app.home import open_home
from spinproof.app.intake import open_shop_ledger
from spinproof.app.part_deeds import PartState
from spinproof.app.people import FrontDesk
from spinproof.model.access import Role
from spinproof.model.handover import ScopeState
from spinproof.model.matter import MatterKind

TABLE = f"/as-found/{HEAD}"
SCOPE = "/jobs/QA-1041/scope"
ANSWERS = "/jobs/QA-1041/answers"
MATTERS = f"/heads/{HEAD}/matters"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PartsShop]:
    made = parts_shop(tmp_path_factory.mktemp("shop"))
    yield made
    made.ledger.close()


@pytest.fixture(scope="module")
def client(shop: PartsShop) -> Iterator[httpx.Client]:
    with served(shop.home, passwords=QUICK) as address, httpx.Client(base_url=address) as opened:
        yield opened


def seats(shop: PartsShop) -> dict[str, str]:
    with shop.ledger.reading() as records:
        return {
            part.now.position or "": part.tag
            for part in records.parts_of(HEAD)
            if part.now.state is PartState.IN_POSITION
        }


def test_a_wrong_row_of_the_table_is_named_and_nothing_is_taken_in(
    shop: PartsShop, client: httpx.Client
):
    before = seats(shop)
    answer = send(
        client,
        TABLE,
        TABLE,
        why="looked at",
        **{
            "choice-MOT": "sits here as received",
            "choice-VDI": "sits here as received",
            "tag-VDI": "QM207LVDIO1X",
        },
    )

    assert answer.status_code == 422
    assert "check character" in answer.text
    assert fields_of(answer.text, TABLE)["tag-VDI"] == "QM207LVDIO1X"
    assert seats(shop) == before


def test_an_empty_position_needs_its_reason(client: httpx.Client):
    answer = send(client, TABLE, TABLE, why="seen", **{"choice-BHT": "nothing sits here"})

    assert answer.status_code == 422
    assert "The reason is missing. Say why nothing sits there." in answer.text


def test_a_table_without_an_answer_says_so(client: httpx.Client):
    answer = send(client, TABLE, TABLE, why="seen")

    assert answer.status_code == 422
    assert "No position is answered" in answer.text


def test_rows_of_the_table_are_taken_in_at_once_and_a_part_goes_back_where_it_came_from(
    shop: PartsShop, client: httpx.Client
):
    done = send(
        client,
        TABLE,
        TABLE,
        why="opened",
        **{
            "choice-SPI": "sits here as received",
            "choice-POS": "came with it, now on the bench",
            "choice-BHT": "nothing sits here",
            "note-BHT": "built without it",
            "choice-WIN": "take it out",
        },
    )
    assert done.status_code == 303
    assert done.headers["location"] == f"{TABLE}?done=4"
    assert {"SPI"} <= set(seats(shop))
    assert not {"POS", "WIN", "BHT"} & set(seats(shop))

    page = client.get(TABLE).text
    declined = page[page.index('id="WIN"') :].partition("</tr>")[0]
    assert "put back as it was" in declined
    assert "put back, cleaned" not in declined
    send(client, TABLE, TABLE, why="done", **{"choice-WIN": "put back as it was"})
    assert seats(shop)["WIN"] == WINDOW


def test_a_sheet_of_parts_comes_filled_and_goes_in_as_it_is(shop: PartsShop, client: httpx.Client):
    sheet = client.get(f"/jobs/QA-1041/template.csv?unit={HEAD}&kind=parts")
    rows = list(csv.DictReader(io.StringIO(sheet.content.decode("utf-8-sig"))))
    assert sheet.headers["content-type"].startswith("text/csv")
    assert {"VDI", "MOT"} <= {row["position"] for row in rows}
    assert not set(seats(shop)) & {row["position"] for row in rows}

    page = "/jobs/QA-1041/import"
    preview = send(client, page, page, files={"file": ("parts.csv", sheet.content)}, kind="parts")
    assert f"All {len(rows)} rows of parts can be taken in." in preview.text


def test_a_sheet_of_instruments_is_looked_at_row_by_row(client: httpx.Client):
    head = "mark,kind,words,unit,from,to,step,uncertainty,calibrated,due,certificate\n"
    good = "DG-1,dial gauge,dial gauge,mm,0,10,0.01,0.004,2026-01-05,2027-01-05,C-1\n"
    bad = "DG-2,dial gauge,,mm,10,0,0.01,0.004,2026-01-05,2025-01-05,C-2\nX,spoon,,,,,,,,,\n"
    page = "/jobs/QA-1041/import"
    files = {"file": ("list.csv", (head + good + bad).encode())}
    refused = send(client, page, page, files=files, kind="instruments")
    assert "must lie above low" in refused.text
    assert "is not after the calibration" in refused.text
    assert "&#34;spoon&#34; is not known" in refused.text

    files = {"file": ("list.csv", (head + good).encode())}
    shown = send(client, page, page, files=files, kind="instruments")
    apply = f"{page}/apply"
    client.post(apply, data=fields_of(shown.text, apply), headers=_origin(client))
    assert "DG-1" in client.get("/instruments").text


def _origin(client: httpx.Client) -> dict[str, str]:
    return {"Origin": str(client.base_url).rstrip("/")}


def test_the_answers_to_a_scope_are_recorded_at_once(shop: PartsShop, client: httpx.Client):
    with shop.ledger.reading() as records:
        item = next(
            e.item for e in records.scope_items("QA-1041") if e.state is ScopeState.RECOMMENDED
        )
    nothing = send(client, SCOPE, ANSWERS, why="message 7")
    assert nothing.status_code == 422
    assert "No line is answered" in nothing.text
    typed = {f"state-{item}": "declined", f"consequence-{item}": "The tach stays as received."}
    assert send(client, SCOPE, ANSWERS, why="message 7", **typed).status_code == 303

    text = client.get(SCOPE).text
    assert "The tach stays as received." in text
    assert f'action="{ANSWERS}"' not in text


def test_a_bridged_interlock_closes_the_gates_until_it_is_removed(
    shop: PartsShop, client: httpx.Client
):
    action = f"/heads/{HEAD}/bypasses"
    answer = send(client, MATTERS, action, interlock="door switch channel 2", why="fault hunting")
    assert answer.status_code == 303
    with shop.ledger.reading() as records:
        (name,) = [m.name for m in records.matters("QA-1041", MatterKind.BYPASS)]
    board = client.get(f"/heads/{HEAD}/gates").text
    assert f"An interlock is bridged: {name}" in board

    step = f"{MATTERS}/{name}"
    send(client, MATTERS, step, state="removed", why="wire taken out")
    assert f"An interlock is bridged: {name}" not in client.get(f"/heads/{HEAD}/gates").text


def test_each_gate_says_what_is_done_there_and_leads_to_it(client: httpx.Client):
    text = client.get(f"/heads/{HEAD}/gates/incoming-inspection").text

    assert "What is done here" in text
    assert f"/heads/{HEAD}/facts#decontamination" in text
    assert "Photograph it as it came" in text


def test_a_second_person_is_added_in_one_step_and_the_owner_stays_signed_in(tmp_path):
    home = open_home(tmp_path)
    ledger = open_shop_ledger(home)
    desk = FrontDesk(ledger, passwords=QUICK)
    with served(home, passwords=QUICK) as address, httpx.Client(base_url=address) as client:
        send(client, "/welcome", "/welcome", name=OWNER)
        page = "/second-person?then=/jobs"
        typed = {"name": "QI-2", "password": WORD, "password_again": WORD}
        own = {"own_password": f"my {WORD}", "own_password_again": f"my {WORD}"}
        weak = dict.fromkeys(own, "x")
        short = send(client, page, "/second-person", **typed, **weak)
        assert short.status_code == 422
        self_named = send(client, page, "/second-person", **(typed | own | {"name": "ow-1"}))
        assert "nobody verifies their own work" in self_named.text
        assert [person.name for person in desk.people()] == [OWNER]

        answer = send(client, page, "/second-person", **typed, **own)
        assert (answer.status_code, answer.headers["location"]) == (303, "/jobs")
        assert f"{OWNER}, owner" in client.get("/people").text
        again = send(client, page, "/second-person", **typed)
        assert "is on record, with a password" in again.text
    people = {person.name: person for person in desk.people()}
    ledger.close()

    assert people["QI-2"].role is Role.INSPECTOR
    assert all(person.password_since for person in people.values())


def test_a_machine_is_taken_in_on_a_page_with_a_head_that_is_left_as_it_is(tmp_path):
    home = open_home(tmp_path)
    job = {
        "job": "QA-1042",
        "order": "PO 1",
        "shop": "Quillmere",
        "machine": "QM-9",
        "head_1": "QM-9-U",
        "words_1": "200 mm",
        "second": "left as it is",
        "shared": "QM-9-S",
    }
    second = {"head_2": "QM-9-L", "words_2": "200 mm"}
    with served(home, passwords=QUICK) as address, httpx.Client(base_url=address) as client:
        send(client, "/welcome", "/welcome", name=OWNER)
        refused = send(client, "/take-in", "/take-in", **job)
        assert "Fill this in, or say above that there is no second head." in refused.text
        assert fields_of(refused.text, "/take-in")["machine"] == "QM-9"
        answer = send(client, "/take-in", "/take-in", **job, **second)
        assert answer.headers["location"] == "/jobs/QA-1042/scope"
        text = client.get("/jobs/QA-1042/scope").text

    assert "all work on this head" in text
    assert "7 of them not agreed yet" in text
