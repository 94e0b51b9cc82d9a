"""Evidence: what comes in is held by its hash, and tells no more than it should."""

from pathlib import Path

import pytest
from PIL import Image
from tests.shop import Shop

from spinproof.app.evidence_desk import hold_evidence, shop_vault
from spinproof.model.errors import DocumentError, EvidenceError


def test_a_picture_loses_where_and_with_what_it_was_taken(shop: Shop, tmp_path: Path):
    photo = tmp_path / "seal seat.jpg"
    told = Image.Exif()
    told[0x010F] = "a camera's maker"
    told.get_ifd(0x8825)[1] = "N"
    Image.new("RGB", (40, 30), "grey").save(photo, exif=told)

    held = hold_evidence(shop.home, shop.ledger, "QA-1041", photo, "nicked seat", by="IN-3")

    kept = shop.home.evidence / held.sha256
    assert b"maker" in photo.read_bytes()
    assert b"maker" not in kept.read_bytes()
    with Image.open(kept) as shown:
        assert shown.size == (40, 30)
        assert not shown.getexif()
    with shop.ledger.reading() as reading:
        assert reading.evidence("QA-1041") == (held,)


def test_the_picture_as_it_came_lies_in_the_sealed_store(shop: Shop, tmp_path: Path):
    photo = tmp_path / "seat.png"
    Image.new("RGB", (8, 8), "white").save(photo)

    hold_evidence(shop.home, shop.ledger, "QA-1041", photo, "seat", by="IN-3")

    sealed = [path.read_bytes() for path in shop.home.vault.rglob("*") if path.is_file()]
    assert sealed
    assert all(photo.read_bytes() not in data for data in sealed)
    assert shop_vault(shop.home).aliases() == ()


def test_a_picture_that_is_none_is_refused_and_nothing_is_held(shop: Shop, tmp_path: Path):
    fake = tmp_path / "photo.jpg"
    fake.write_bytes(bytes(range(256)) * 4)

    with pytest.raises(EvidenceError, match=r"photo\.jpg"):
        hold_evidence(shop.home, shop.ledger, "QA-1041", fake, "photo", by="IN-3")

    assert [path for path in shop.home.evidence.iterdir() if not path.name.startswith(".")] == []


def test_a_file_that_is_not_there_is_named(shop: Shop, tmp_path: Path):
    with pytest.raises(DocumentError, match=r"gone\.csv"):
        hold_evidence(shop.home, shop.ledger, "QA-1041", tmp_path / "gone.csv", "log", by="TT-1")
