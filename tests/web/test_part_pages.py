"""Scope, positions, parts, findings and labels: what the pages show, take and refuse."""

import re
from collections.abc import Iterator
from datetime import timedelta

import httpx
import pytest
from tests.web.parts_seed import (
    NEW_SEAL,
    ROTOR,
    SHARED,
    WINDOW,
    PartsShop,
    parts_shop,
    send,
)
from tests.web.running import served
from tests.web.seed import EXCLUDED, HEAD, burn_in_bench
from tests.web.test_pages import Page

from spinproof.app.stock_views import labels_of
from spinproof.ledger.states import ChangeOrderState, FindingState, PartState
from spinproof.model.check import Energy
from spinproof.model.handover import ScopeState
from spinproof.model.matter import MatterKind
from spinproof.model.part import Provenance
from spinproof.model.tag import tag_of

SEAL_PLACE, WINDOW_PLACE = f"/positions/{HEAD}/DSL", f"/positions/{HEAD}/WIN"
OLD_SEAL = tag_of("QM207LDSL01")
SCOPE = "/jobs/QA-1041/scope"
PAGES = (
    SCOPE,
    f"/positions/{HEAD}",
    f"/positions/{EXCLUDED}",
    f"/positions/{SHARED}",
    SEAL_PLACE,
    WINDOW_PLACE,
    f"/parts/{ROTOR}",
    "/jobs/QA-1041/parts",
    "/jobs/QA-1041/labels",
    "/find",
    "/find?q=seal",
    "/history",
    "/jobs/QA-1041/import",
)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PartsShop]:
    made = parts_shop(tmp_path_factory.mktemp("shop"))
    yield made
    made.ledger.close()


@pytest.fixture(scope="module")
def client(shop: PartsShop) -> Iterator[httpx.Client]:
    with served(shop.home) as address, httpx.Client(base_url=address) as opened:
        yield opened


def excluded(client: httpx.Client) -> int:
    found = re.search(r"Excluded from this job: (\d+)", client.get(SCOPE).text)
    assert found
    return int(found[1])


def test_each_page_is_sound(client: httpx.Client):
    for path in PAGES:
        answer = client.get(path)
        page = Page(answer.text)
        assert answer.status_code == 200, path
        assert len(page.all("h1")) == 1, path
        assert len(page.all("caption")) == len(page.all("table")), path
        assert all(head.get("scope") in {"row", "col"} for head in page.all("th")), path
        for tag, attributes in page.elements:
            assert "style" not in attributes, (path, tag)
            assert not [name for name in attributes if name.startswith("on")], (path, tag)
        ids = [a["id"] for _, a in page.elements if "id" in a]
        assert len(ids) == len(set(ids)), path


def test_exclusions_stand_on_the_pages_of_a_job_with_what_follows(client: httpx.Client):
    for path in (SCOPE, f"/positions/{HEAD}", SEAL_PLACE, f"/parts/{ROTOR}", "/jobs/QA-1041/parts"):
        text = client.get(path).text
        assert "window replacement" in text, path
        assert "The window stays as received" in text, path


def test_the_drawing_shows_what_sits_where_and_what_is_refused(client: httpx.Client):
    text = client.get(f"/positions/{HEAD}").text

    assert f"BWL, bowl: kept, {tag_of('QM207LBWL01')}" in text
    assert f"WIN, window: declined, kept, {WINDOW}" in text
    assert "1 open safety finding, 1 open cosmetic finding" in text
    assert f'href="{SEAL_PLACE}"' in text
    assert "not in scope" in client.get(f"/positions/{EXCLUDED}").text
    assert "shared drain trap" in client.get(f"/positions/{SHARED}").text


def test_a_position_that_no_head_has_is_not_found(client: httpx.Client):
    for path in (f"/positions/{HEAD}/XYZ", f"/positions/{HEAD}/SDR", "/positions/QM-9", "/parts/x"):
        assert client.get(path).status_code in {404, 422}, path


def test_replacing_a_part_takes_the_old_one_out_in_the_same_change(
    shop: PartsShop, client: httpx.Client
):
    answer = send(
        client,
        SEAL_PLACE,
        f"{SEAL_PLACE}/fit",
        tag="qm207l-dsl02-u",
        provenance="replaced with new",
        why="new seal under SC-07",
    )

    assert answer.status_code == 303
    text = client.get(SEAL_PLACE).text
    assert f"fitted in {HEAD}, DSL" in text
    assert f"removed from {HEAD}, DSL" in text
    with shop.ledger.reading() as records:
        assert records.part(NEW_SEAL).now.state is PartState.IN_POSITION
        assert records.part(OLD_SEAL).now.state is PartState.REMOVED
        assert not records.matters("QA-1041", MatterKind.NONCONFORMANCE)


def test_a_tag_with_one_wrong_character_is_refused_with_the_one_that_was_meant(
    shop: PartsShop, client: httpx.Client
):
    wrong = ROTOR.replace("R01", "RO1")
    place = f"/positions/{HEAD}/RTR"
    answer = send(client, place, f"{place}/fit", tag=wrong, why="put back")

    assert answer.status_code == 422
    assert f"Is it {ROTOR}?" in answer.text
    assert f'value="{wrong}"' in answer.text
    assert 'value="put back"' in answer.text
    with shop.ledger.reading() as records:
        assert len(records.part(ROTOR).steps) == 1


def test_a_declined_position_takes_back_its_own_part_and_no_other(
    shop: PartsShop, client: httpx.Client
):
    other = tag_of("QM207LWIN02")
    assert (
        send(
            client,
            "/jobs/QA-1041/parts",
            "/jobs/QA-1041/parts",
            tag=other,
            position="WIN window",
            words="window",
            provenance="replaced with new",
            why="came in",
        ).status_code
        == 303
    )
    out = send(client, WINDOW_PLACE, f"{WINDOW_PLACE}/take-out", why="access to the bowl")
    refused = send(client, WINDOW_PLACE, f"{WINDOW_PLACE}/fit", tag=other, why="looks better")
    back = send(client, WINDOW_PLACE, f"{WINDOW_PLACE}/fit", tag=WINDOW, why="put back")

    assert (out.status_code, refused.status_code, back.status_code) == (303, 422, 303)
    assert "WIN is declined: only the part that came from there may go back" in refused.text
    assert "change order" in refused.text
    with shop.ledger.reading() as records:
        assert records.part(other).now.state is PartState.STOCK
        assert records.part(WINDOW).now.provenance is Provenance.KEPT


def test_what_came_with_the_head_is_recorded_once_and_an_empty_place_with_its_reason(
    client: httpx.Client,
):
    place, tag = f"/positions/{HEAD}/MOT", tag_of("QM207LMOT01")
    found = send(
        client, place, f"{place}/found", tag=tag, words="motor", serial="M 77", why="as found"
    )
    assert found.status_code == 303
    assert f"{place}/found" not in client.get(place).text
    assert "M 77" in client.get(f"/parts/{tag}").text

    ion = f"/positions/{HEAD}/BHT"
    assert send(client, ion, f"{ion}/empty", why="built without it").status_code == 303
    assert "built without it" in client.get(ion).text
    assert "left empty" in client.get(f"/positions/{HEAD}").text


def test_a_part_outside_a_head_goes_where_the_trade_lets_it_and_scrap_is_final(
    client: httpx.Client,
):
    tag = tag_of("QM207LPSW07")
    stock = "/jobs/QA-1041/parts"
    part = {"tag": tag, "position": "PSW water pressure switch", "words": "switch"}
    came = send(client, stock, stock, provenance="cleaned", why="spare of ours", **part)
    assert came.status_code == 303
    page = f"/parts/{tag}"
    moved = send(client, page, f"{page}/move", state="under inspection", why="look at the lip")
    assert moved.status_code == 303
    assert send(client, page, f"{page}/move", state="scrapped", why="torn lip").status_code == 303
    text = client.get(page).text

    assert f"{page}/move" not in text
    assert "This is final" in text
    assert tag not in client.get("/jobs/QA-1041/labels").text


def test_a_finding_is_graded_recorded_on_the_part_and_dealt_with(
    shop: PartsShop, client: httpx.Client
):
    place = f"/positions/{HEAD}/TAC"
    answer = send(
        client,
        place,
        f"{place}/finding",
        severity="safety",
        text="gap is 0.80 mm <b>loose</b>",
        why="feeler gauge",
    )
    assert answer.status_code == 303
    text = client.get(place).text
    assert "gap is 0.80 mm &lt;b&gt;loose&lt;/b&gt;" in text
    with shop.ledger.reading() as records:
        finding = records.matters("QA-1041", MatterKind.FINDING)[-1]
    name = finding.name
    assert finding.content.tag == tag_of("QM207LTAC01")

    bare = send(client, place, f"/findings/{name}", state="offered", why="recommend")
    offered = send(
        client, place, f"/findings/{name}", state="offered", item="SC-30 replace", why="recommend"
    )
    settled = send(client, place, f"/findings/{name}", state="settled", why="gap set to 0.80 mm")
    assert (bare.status_code, offered.status_code, settled.status_code) == (422, 303, 303)
    assert "names no line of the scope" in bare.text
    assert f"from finding {name}" in client.get(SCOPE).text
    with shop.ledger.reading() as records:
        assert records.matter(name).state is FindingState.SETTLED


def test_what_was_done_earlier_says_that_it_was_entered_later(
    shop: PartsShop, client: httpx.Client
):
    place = f"/positions/{HEAD}/BLT"
    future = send(client, place, f"{place}/take-out", why="worn", done="2999-01-01T00:00")
    wrong = send(client, place, f"{place}/take-out", why="worn", done="yesterday")
    assert "lies in the future" in future.text
    assert "Write it as 2031-05-06 07:08" in wrong.text

    done = (shop.now + timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M")
    assert send(client, place, f"{place}/take-out", why="worn", done=done).status_code == 303
    assert "entered later" in client.get(place).text


def test_the_scope_changes_by_a_change_order_that_the_customer_accepted(
    shop: PartsShop, client: httpx.Client
):
    line, before = f"{SCOPE}/SC-21", excluded(client)
    refused = send(client, SCOPE, line, state="accepted", why="asked on the phone")
    assert refused.status_code == 422
    assert "by an accepted change order alone" in refused.text
    assert 'value="asked on the phone"' in refused.text

    orders = "/jobs/QA-1041/change-orders"
    days = send(client, SCOPE, orders, text="new ion module", days="soon")
    assert "Write a whole number of days" in days.text
    made = send(client, SCOPE, orders, text="new ion module", price="EUR 900", days="3")
    assert made.headers["location"].endswith("#QA-1041-CO-01")
    order = f"{orders}/QA-1041-CO-01"
    no_token = send(client, SCOPE, order, state="accepted", why="they said yes")
    assert "what shows the acceptance is missing" in no_token.text
    agreed = send(client, SCOPE, order, state="accepted", token="L-77", why="their letter")  # noqa: S106 - number of a letter
    done = send(client, SCOPE, line, state="accepted", order="QA-1041-CO-01", why="letter L-77")

    assert (agreed.status_code, done.status_code) == (303, 303)
    assert excluded(client) == before - 1
    assert "(by QA-1041-CO-01)" in client.get(SCOPE).text
    assert "ION, anti-static module: not recorded" in client.get(f"/positions/{HEAD}").text
    with shop.ledger.reading() as records:
        assert records.matter("QA-1041-CO-01").state is ChangeOrderState.ACCEPTED
        line_now = next(e for e in records.scope_items("QA-1041") if e.item == "SC-21")
    assert line_now.state is ScopeState.ACCEPTED
    assert line_now.steps[-1].change_order == "QA-1041-CO-01"


def test_recommended_work_is_excluded_until_it_is_agreed(client: httpx.Client):
    before = excluded(client)
    made = send(
        client,
        SCOPE,
        f"/jobs/QA-1041/units/{SHARED}/scope",
        text="renew supply hoses",
        position="SUP shared supply",
        consequence="The hoses stay.",
    )
    item = made.headers["location"].partition("#")[2]
    text = client.get(SCOPE).text
    assert excluded(client) == before + 1
    assert "Not agreed yet, and excluded until it is. The hoses stay." in text

    declined = send(client, SCOPE, f"{SCOPE}/{item}", state="declined", why="letter L-78")
    assert declined.status_code == 303
    assert "The hoses stay." in client.get(SCOPE).text


def test_a_form_sent_twice_has_one_effect(shop: PartsShop, client: httpx.Client):
    place = f"/positions/{HEAD}/BWL"
    fields = {"why": "worn", "evidence": "", "done": ""}
    text = client.get(place).text
    form = text[text.index(f'action="{place}/take-out"') :]
    for name in ("form-token", "form-key"):
        fields[name] = re.search(f'name="{name}" value="([^"]+)"', form)[1]
    origin = str(client.base_url).rstrip("/")
    answers = [
        client.post(f"{place}/take-out", data=fields, headers={"Origin": origin}) for _ in range(2)
    ]

    assert [a.status_code for a in answers] == [303, 303]
    with shop.ledger.reading() as records:
        assert len(records.part(tag_of("QM207LBWL01")).steps) == 2


def test_labels_hold_a_code_for_each_part_and_print_on_both_papers(
    shop: PartsShop, client: httpx.Client
):
    text = client.get("/jobs/QA-1041/labels").text
    letter = client.get("/jobs/QA-1041/labels", params={"paper": "letter", "tag": ROTOR}).text

    assert text.count('aria-label="QR code of the tag') == len(labels_of(shop.ledger, "QA-1041"))
    assert f'aria-label="QR code of the tag {WINDOW}"' in text
    assert 'class="labels a4"' in text
    assert 'class="labels letter"' in letter
    assert letter.count('aria-label="QR code of the tag') == 1
    style = client.get("/static/floor_parts.css").text
    assert "@page a4 { size: 210mm 297mm" in style
    assert "@page letter { size: 8.5in 11in" in style


def test_pages_that_scan_may_use_the_camera_and_no_other_page_may(client: httpx.Client):
    for path in (f"/positions/{HEAD}", f"/parts/{ROTOR}", "/find"):
        assert "camera=(self)" in client.get(path).headers["permissions-policy"]
    assert "camera=()" in client.get(SCOPE).headers["permissions-policy"]


def test_without_a_lockout_no_part_is_taken_out_and_a_lockout_names_every_energy(
    shop: PartsShop, client: httpx.Client
):
    page, place = f"/positions/{SHARED}", f"/positions/{SHARED}/SDR"
    tag = tag_of("QM207SSDR01")
    assert send(client, place, f"{place}/found", tag=tag, words="trap", why="x").status_code == 303
    assert "No lockout is on record" in client.get(place).text
    lockout = f"{page}/lockout"
    said = {f"energy-{place}": "locked" for place in range(len(Energy))}
    one_missing = said | {"energy-2": ""}
    typed = {"where": "drain", "verification": "0 V, 0 bar", "why": "trap out"}
    refused = send(client, page, lockout, **typed, **one_missing)
    assert refused.status_code == 422
    assert "Choose one of: locked, left on." in refused.text

    put = send(client, page, lockout, **typed, **(said | {"energy-6": "left on"}))
    assert put.status_code == 303
    assert "Left on: gravity." in client.get(page).text
    with shop.ledger.reading() as records:
        name = records.matters("QA-1041", MatterKind.LOCKOUT)[-1].name
    assert send(client, page, f"{lockout}/{name}/remove", why="closed again").status_code == 303
    assert f"<b>{name}</b>" not in client.get(page).text


def test_labels_with_new_tags_are_for_places_without_a_part(client: httpx.Client):
    asked = {"unit": HEAD, "new": "yes"}
    text = client.get("/jobs/QA-1041/labels", params=asked).text

    assert f"QR code of the tag {tag_of('QM207LIDX01')}" in text
    assert WINDOW not in text
    assert "not on record yet" in text
    assert f"A free one is {tag_of('QM207LIDX01')}" in client.get(f"/positions/{HEAD}/IDX").text


def test_a_job_of_burn_in_only_offers_no_parts_and_says_why(
    tmp_path_factory: pytest.TempPathFactory,
):
    bench = burn_in_bench(tmp_path_factory.mktemp("burn-in"))
    with served(bench.home) as address, httpx.Client(base_url=address) as client:
        offered = [client.get(path).text for path in (f"/heads/{HEAD}", "/jobs/QA-1041")]
        answer = client.get(f"/positions/{HEAD}")
        scope = client.get(SCOPE).text
    bench.ledger.close()

    assert not any("/positions/" in text or "/parts" in text for text in offered)
    assert answer.status_code == 409
    assert "taken in for burn-in only" in answer.text
    assert "with its scope agreed before" in scope
    assert "Excluded from this job: 6" in scope
