"""Finding things by words, and rows of the trail, alike on both backends."""

import pytest
from tests.ledger.cases import AT, later
from tests.ledger.floor import RULES
from tests.web.parts_seed import ROTOR, full_job

from spinproof.ledger.ledger import Ledger
from spinproof.ledger.searching import MOST_EACH, search, trail_rows
from spinproof.ledger.shop_entries import Piece
from spinproof.model.matter import Finding
from spinproof.model.part import Severity

HEAD = "QM-207-L"


@pytest.fixture
def filled(ledger: Ledger) -> Ledger:
    with ledger.transaction("RT-1", AT) as records:
        records.add_job(full_job(), RULES)
    with ledger.transaction("TD-2", later(60)) as records:
        records.record_as_found(HEAD, "RTR", Piece(ROTOR, "rotor, balanced", serial="S_77"))
        seen = Finding(text="crack of 3 % depth, Größe", severity=Severity.SAFETY, position="RTR")
        records.open_matter("QA-1041", seen, unit=HEAD)
    return ledger


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("ROTOR balanced", [("part", ROTOR)]),
        ("qm207l-rtr01-1", [("part", ROTOR)]),
        ("s_77", [("part", ROTOR)]),
        ("s%77", []),
        ("3 % crack", [("finding", "QA-1041-FND-01")]),
        ("Größe", [("finding", "QA-1041-FND-01")]),
        ("7716Q", [("job", "QA-1041")]),
        ("window declined", [("scope line", "SC-20")]),
        ("QM-207-S", [("shared module", "QM-207-S")]),
        ("-", None),
        ("   ", []),
    ],
)
def test_words_are_found_in_any_case_and_never_as_patterns(
    filled: Ledger, asked: str, found: list[tuple[str, str]] | None
):
    with filled.reading() as records:
        hits = [(hit.kind, hit.name) for hit in search(records, asked)]

    if found is None:
        assert all(kind != "part" for kind, _ in hits)
    elif found and found[0][0] == "shared module":
        assert found[0] in hits
    else:
        assert hits == found


def test_no_kind_fills_the_page_alone(filled: Ledger):
    with filled.transaction("RT-1", later(90)) as records:
        for number in range(MOST_EACH + 5):
            records.add_scope_item("QA-1041", HEAD, f"polish flange {number}")
    with filled.reading() as records:
        hits = search(records, "polish flange")

    assert len(hits) == MOST_EACH


def test_rows_of_the_trail_are_those_asked_for_the_newest_first(filled: Ledger):
    with filled.reading() as records:
        everything = records.audit()
        asked = trail_rows(records, [f"part {ROTOR}"], None, None, 10)
        own = trail_rows(records, (), "TD-2", None, 1000)
        page = trail_rows(records, (), None, everything[-3].seq, 2)

    assert [row.act for row in asked] == ["part.step", "part.add"]
    assert own == tuple(row for row in reversed(everything) if row.who == "TD-2")
    assert page == (everything[-4], everything[-5])
