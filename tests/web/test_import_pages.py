"""A spreadsheet through the page: every row shown first, then all of them or none."""

import io
import re
from collections.abc import Iterator

import httpx
import openpyxl
import pytest
from tests.web.parts_seed import PartsShop, fields_of, parts_shop, send
from tests.web.running import served
from tests.web.seed import HEAD

from spinproof.app.clock import utc_now
from spinproof.model.matter import MatterKind
from spinproof.model.tag import tag_of
from spinproof.web.access import SHEET_BYTES

IMPORT = "/jobs/QA-1041/import"
APPLY = f"{IMPORT}/apply"
MOTOR, VALVE = tag_of("QM207LMOT01"), tag_of("QM207LVDI01")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PartsShop]:
    made = parts_shop(tmp_path_factory.mktemp("shop"))
    yield made
    made.ledger.close()


@pytest.fixture(scope="module")
def client(shop: PartsShop) -> Iterator[httpx.Client]:
    with served(shop.home) as address, httpx.Client(base_url=address) as opened:
        yield opened


def parts_csv(*tags: str, day: str | None = None) -> bytes:
    at = day or utc_now().strftime("%Y-%m-%d %H:%M")
    rows = [f"{tag},{HEAD},{tag[6:9]},kept,{at}" for tag in tags]
    return "\n".join(["tag,head,position,provenance,installed", *rows]).encode()


def upload(client: httpx.Client, data: bytes, name: str = "parts.csv", **typed: str):
    return send(client, IMPORT, IMPORT, files={"file": (name, data)}, **typed)


def decide(client: httpx.Client, preview: httpx.Response) -> httpx.Response:
    origin = str(client.base_url).rstrip("/")
    fields = fields_of(preview.text, APPLY)
    return client.post(APPLY, data=fields, headers={"Origin": origin})


def rows_of(shop: PartsShop) -> int:
    with shop.ledger.reading() as records:
        return len(records.parts("QA-1041"))


def test_right_rows_are_shown_then_taken_in_all_at_once(shop: PartsShop, client: httpx.Client):
    before = rows_of(shop)
    preview = upload(client, parts_csv(MOTOR, VALVE))
    assert preview.status_code == 200
    assert "All 2 rows of parts can be taken in." in preview.text
    assert f"takes in {MOTOR}, kept, as motor (MOT) of {HEAD}" in preview.text
    assert rows_of(shop) == before

    done = decide(client, preview)
    assert done.status_code == 303
    assert "2 rows of parts taken in." in client.get(done.headers["location"]).text
    assert rows_of(shop) == before + 2
    assert f"MOT, motor: kept, {MOTOR}" in client.get(f"/positions/{HEAD}").text


def test_one_bad_row_holds_all_back_and_says_how_to_mend_it(shop: PartsShop, client: httpx.Client):
    before = rows_of(shop)
    bad = tag_of("QM207LAMP01").replace("01", "O1")
    preview = upload(client, parts_csv(tag_of("QM207LWIR01"), bad))

    assert "1 of 2 rows cannot be taken in, so none is." in preview.text
    assert 'id="row-3" class="wrong"' in preview.text
    assert "the check character does not fit" in preview.text.lower()
    assert f'action="{APPLY}"' not in preview.text
    assert rows_of(shop) == before


def test_a_row_that_went_wrong_meanwhile_undoes_all_of_them(shop: PartsShop, client: httpx.Client):
    preview = upload(client, parts_csv(tag_of("QM207LCTL01"), tag_of("QM207LEST01")))
    place = f"/positions/{HEAD}/EST"
    other = tag_of("QM207LEST09")
    assert (
        send(client, place, f"{place}/found", tag=other, words="valve", why="x").status_code == 303
    )
    before = rows_of(shop)
    answer = decide(client, preview)

    assert answer.status_code in {409, 422, 500}
    assert "Nothing was taken in." in answer.text
    assert rows_of(shop) == before


def test_findings_come_from_a_workbook(shop: PartsShop, client: httpx.Client):
    book = openpyxl.Workbook()
    book.active.append(["head", "finding", "severity", "seen", "position"])
    day = utc_now().strftime("%Y-%m-%d %H:%M")
    book.active.append([HEAD, "seal seat scored", "function", day, "DSL"])
    data = io.BytesIO()
    book.save(data)
    preview = upload(client, data.getvalue(), "found.xlsx", kind="findings")
    assert "The row of findings can be taken in." in preview.text
    assert decide(client, preview).status_code == 303
    with shop.ledger.reading() as records:
        texts = [m.content.text for m in records.matters("QA-1041", MatterKind.FINDING)]

    assert "seal seat scored" in texts


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("a.csv", b"", "no rows"),
        ("a.csv", b"what,is,this\n1,2,3\n", "does not head a column"),
        (
            "a.csv",
            b"tag,head,position,provenance,installed\n=1+1,a,b,c,d\n",
            "Formulas are not taken: A2",
        ),
        ("a.xlsx", b"PK\x03\x04 not a workbook", "The workbook is not opened"),
        ("a.xls", b"\xd0\xcf\x11\xe0 old", "old workbook"),
        ("a.csv", b"\xff\xfe\x00", "The text is not UTF-16"),
    ],
)
def test_a_file_that_is_no_sheet_is_refused_beside_its_field(
    client: httpx.Client, name: str, data: bytes, says: str
):
    answer = upload(client, data, name)

    assert answer.status_code == 422
    wrong = re.search(r'id="file-wrong">(.*?)</p>', answer.text, re.DOTALL)
    assert wrong
    assert says in wrong[1]


def test_no_file_at_all_is_said_beside_the_field(client: httpx.Client):
    answer = send(client, IMPORT, IMPORT)

    assert answer.status_code in {415, 422}


def test_a_file_that_is_too_large_is_refused_before_it_is_read(client: httpx.Client):
    answer = upload(client, b"x" * (SHEET_BYTES + 1))

    assert answer.status_code == 413
    assert "Nothing was stored" in answer.text


def test_a_file_that_is_held_no_more_has_to_be_chosen_again(shop: PartsShop, client: httpx.Client):
    preview = upload(client, parts_csv(tag_of("QM207LDOR01")))
    for path in (shop.home.root / "imports").iterdir():
        path.unlink()
    answer = decide(client, preview)

    assert "Choose the file again" in answer.text
    for held in ("../ledger.db", "a" * 64, "/etc/passwd"):
        fields = fields_of(preview.text, APPLY) | {"held": held, "form-key": "k" * 24}
        origin = str(client.base_url).rstrip("/")
        refused = client.post(APPLY, data=fields, headers={"Origin": origin})
        assert "not held here" in refused.text


def test_another_part_at_a_declined_position_is_refused_in_the_preview(client: httpx.Client):
    day = utc_now().strftime("%Y-%m-%d %H:%M")
    row = f"{tag_of('QM207LION02')},{HEAD},ION,replaced with new,{day}"
    preview = upload(client, f"tag,head,position,provenance,installed\n{row}".encode())

    assert "is declined: only the part that came from there may go back" in preview.text
    assert APPLY not in preview.text
