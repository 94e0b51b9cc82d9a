"""Heads of the audit trail: signed, printed, read back, noted, and proofs between them."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from tests.ledger.cases import AT, later, take_in
from tests.ledger.insider import STATION_KEY, head_of

from spinproof.figures.qr import qr_code
from spinproof.files.canonical import canonical_json, digest_of
from spinproof.files.signing import fingerprint_of_pem, public_pem
from spinproof.files.tree import grew, includes, leaf_hash, root_of
from spinproof.ledger import audit
from spinproof.ledger.heads import SignedHead, TreeHead, Way, printed, read_head, sign_head
from spinproof.ledger.ledger import Ledger, open_ledger
from spinproof.model.errors import RecordError

HEAD = TreeHead("4f2f31a01b6a6c4e", 1234, "92eaf4ae24704810" * 4)
ENTRIES = (
    {"act": "run.start", "at": "2031-05-06T07:08:09.123Z", "obj": "run/17", "seq": 1, "who": "u2"},
    {"act": "run.seal", "at": "2031-05-06T07:14:10.456Z", "obj": "run/17", "seq": 2, "who": "rec1"},
    {
        "act": "gate.decide",
        "at": "2031-05-06T07:20:00.000Z",
        "obj": "gate/burn-in",
        "seq": 3,
        "who": "u5",
    },
)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(f"sqlite:///{tmp_path / 'ledger.db'}", at=AT)
    take_in(opened)
    yield opened
    opened.close()


def test_salted_leaves_and_their_head_are_those_of_another_program():
    """The hashes were computed once by a script with hashlib and rfc8785 alone."""
    leaves = [leaf_hash(bytes([i]) * 32 + canonical_json(entry)) for i, entry in enumerate(ENTRIES)]
    root = "92eaf4ae24704810dfcc6ac51f3dae6fbe8191d87cb7108cd96e36816b4daf84"

    assert [leaf.hex()[:8] for leaf in leaves] == ["4f2f31a0", "706626ae", "2e586149"]
    assert root_of(leaves[:2]).hex() == (
        "bb31490b118c07ad501dfe3979c8bf1f6b3613008c455b0f6de149c938de3229"
    )
    assert root_of(leaves).hex() == root
    assert digest_of(TreeHead("job-1", 3, root).to_document()) == (
        "321af7e116897c4c567f8f8816c35e4e7462b15835e50b284372f52114ca8288"
    )


def test_a_head_is_read_back_from_the_line_of_its_code():
    signed = sign_head(HEAD, STATION_KEY)

    read = read_head(signed.line)

    assert read.head == HEAD
    assert read.signature == signed.signature
    assert replace(read, public_key=signed.public_key).is_genuine


def test_the_line_of_a_code_needs_no_more_than_capitals_and_digits():
    line = sign_head(HEAD, STATION_KEY).line

    assert set(line) <= set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
    assert qr_code(line).startswith("<svg")
    assert len(line) < 262, "as many as a code of 53 modules holds at level M"


def test_a_head_is_read_back_from_what_is_printed_and_from_a_copy_of_it():
    sheet = printed(sign_head(HEAD, STATION_KEY))
    key = fingerprint_of_pem(public_pem(STATION_KEY))
    assert sheet.splitlines()[3:] == [f"Station key {key}"]
    assert len(printed(SignedHead(HEAD)).splitlines()) == 3
    by_hand = "\n".join(sheet.lower().splitlines()[:3]).replace("\n", "  \n ")

    for text in (sheet, by_hand, SignedHead(HEAD).line):
        assert read_head(text) == SignedHead(HEAD)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "the head of the trail",
        SignedHead(HEAD).line[:-1],
        SignedHead(HEAD).line[:-2],
        SignedHead(HEAD).line + " 3",
        SignedHead(HEAD).line.replace("1234", "12E4"),
        SignedHead(HEAD).line.replace("STH", "STX"),
        "x" * 100_000,
    ],
)
def test_what_is_no_whole_head_is_refused(text: str):
    with pytest.raises(RecordError, match="no head of an audit trail, or not the whole"):
        read_head(text)


def test_a_changed_head_does_not_fit_its_signature():
    signed = sign_head(HEAD, STATION_KEY)

    assert signed.is_genuine
    assert not replace(signed, head=replace(HEAD, size=1235)).is_genuine
    assert not replace(signed, signature="no digits").is_genuine
    assert SignedHead(HEAD).is_genuine is None
    assert replace(signed, signature=None).is_genuine is None
    assert replace(signed, public_key=None).is_genuine is None


def test_a_head_that_left_the_house_is_noted_with_where_it_went(ledger: Ledger):
    signed = head_of(ledger)
    with ledger.transaction("QI-2", later(60)) as records:
        entry = records.note_anchor(signed, Way.LETTER, "purchasing, with the scope agreed")

    with ledger.reading() as records:
        assert records.anchors() == (entry,)
        told = records.audit()[-1]
        check = records.verify_audit()
    assert (told.act, told.object) == ("anchor.note", f"head of {signed.head.size} rows")
    assert entry.words == (
        "the head that QI-2 sent out on 2031-05-06T07:09:09.123Z "
        "(letter: purchasing, with the scope agreed)"
    )
    assert check.findings == ()
    assert check.unproved[0].endswith(f"noted is {entry.words}: fetch it and compare.")


def test_a_head_of_another_trail_or_without_a_signature_is_not_noted(ledger: Ledger):
    signed = head_of(ledger)
    foreign = sign_head(replace(signed.head, root="ab" * 32), STATION_KEY)
    for wrong in (SignedHead(signed.head), replace(signed, signature="00"), foreign):
        with pytest.raises(RecordError), ledger.transaction("QI-2", later(60)) as records:
            records.note_anchor(wrong, Way.PRINT, "wall of the shop")

    with ledger.reading() as records:
        assert records.anchors() == ()


def test_a_restoration_is_noted_only_in_the_state_that_was_put_back(ledger: Ledger):
    head = head_of(ledger).head
    older = head_of(ledger, head.size - 1).head
    with (
        pytest.raises(RecordError, match="not in the state of this backup"),
        ledger.transaction("QI-2", later(60)) as records,
    ):
        records.note_restoration(older, "2031-05-05T00:00:00.000Z", "disk replaced")


def test_the_trail_proves_a_row_and_its_growth_to_somebody_who_holds_heads(ledger: Ledger):
    older = head_of(ledger, 20).head
    newer = head_of(ledger).head
    with ledger.reading() as records:
        row = records.audit()[6]
        places = [bytes.fromhex(node) for node in records.inclusion_proof(7, newer.size)]
        growth = [bytes.fromhex(node) for node in records.consistency_proof(20, newer.size)]
    roots = bytes.fromhex(older.root), bytes.fromhex(newer.root)

    assert includes(bytes.fromhex(audit.row_hash(row)), 6, newer.size, places, roots[1])
    assert grew(20, roots[0], newer.size, roots[1], growth)


def test_what_the_trail_does_not_hold_cannot_be_proved(ledger: Ledger):
    with ledger.reading() as records:
        for seq, size in ((0, 5), (6, 5)):
            with pytest.raises(RecordError, match=f"hold no row {seq}"):
                records.inclusion_proof(seq, size)
        with pytest.raises(RecordError, match="not older"):
            records.consistency_proof(6, 5)
        with pytest.raises(RecordError, match="rows, not 5000"):
            records.tree_head(5000)
