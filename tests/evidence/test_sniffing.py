"""The type of a file is read from its content."""

import io

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from openpyxl import Workbook
from PIL import Image
from tests.evidence.conftest import TEXT, box, zip_of

from spinproof.evidence.sniffing import HEAD_BYTES, Family, FileType, confirm, name_notice, sniff
from spinproof.model.errors import EvidenceError


def picture(kind):
    file = io.BytesIO()
    Image.new("RGB", (8, 8), "teal").save(file, kind)
    return file.getvalue()


def table():
    file = io.BytesIO()
    pq.write_table(pa.table({"speed_rpm": [40.0]}), file)
    return file.getvalue()


def workbook():
    file = io.BytesIO()
    Workbook().save(file)
    return file.getvalue()


FILES = {
    "jpeg": picture("JPEG"),
    "png": picture("PNG"),
    "webp": picture("WEBP"),
    "tiff": picture("TIFF"),
    "pdf": b"%PDF-1.7\n1 0 obj\nendobj\n%%EOF\n",
    "text": "gap in mm; 0,80 µm\r\n".encode() * 400,
    "parquet": table(),
    "mp4": box(b"ftyp", b"isom") + box(b"moov") + box(b"mdat", b"x"),
    "mov": box(b"ftyp", b"qt  ") + box(b"moov") + box(b"mdat", b"x"),
    "matroska": b"\x1a\x45\xdf\xa3\x93\x42\x82\x88matroska" + bytes(40),
    "zip": zip_of([("a.txt", "x")]),
    "xlsx": workbook(),
}


def find(tmp_path, data, name="file"):
    path = tmp_path / "file"
    path.write_bytes(data)
    return confirm(path, sniff(data[:HEAD_BYTES], name), name)


@pytest.mark.parametrize("kind", FILES)
def test_each_type_is_known_by_its_content_and_has_a_limit_and_a_media_type(tmp_path, kind):
    found = find(tmp_path, FILES[kind])

    assert found == kind
    assert found.family in Family
    assert "/" in found.media_type
    assert found.words


OTHERS = {
    "a program for Windows": b"MZ\x90\0",
    "a program for Linux": b"\x7fELF\2\1",
    "a script": b"#!/bin/sh\nrm -rf /\n",
    "a web page": b"\xef\xbb\xbf  <!DOCTYPE html><script>alert(1)</script>",
    "a drawing in XML": b"<svg onload='alert(1)'/>",
    "a GIF picture": b"GIF89a",
    "an HEIF or AVIF picture": box(b"ftyp", b"heic"),
    "an old office file, or one with a password": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
    "a gzip file": b"\x1f\x8b\x08\0",
    "a tar archive": bytes(257) + b"ustar\0" + bytes(300),
    "text in UTF-16": "gap".encode("utf-16"),
    "an unknown type": b"\0\1\2\3" * 20,
    "of an unknown type": "Öl 0,8 µm".encode("cp1252"),
    "is empty": b"",
}


@pytest.mark.parametrize("found", OTHERS)
def test_what_is_not_taken_is_refused_by_its_name(found):
    with pytest.raises(EvidenceError, match=found) as caught:
        sniff(OTHERS[found], "photo.jpg")

    assert caught.value.where == "photo.jpg"
    assert caught.value.mend


@pytest.mark.parametrize(
    ("kind", "data", "why"),
    [
        ("pdf", FILES["pdf"][:-6], "its end is missing"),
        ("parquet", FILES["parquet"][:-4], "its end is missing"),
        ("mp4 cut off", FILES["mp4"][:-1], "cut off, or damaged at byte 20"),
        ("mp4 without index", box(b"ftyp", b"isom") + box(b"mdat", b"x" * 9), "not finished"),
        ("mp4 with a wrong box", box(b"ftyp", b"isom") + bytes(3) + b"\1abcd", "damaged"),
        ("text with a late NUL", TEXT * 400 + b"\0", "control character 0x0"),
        ("text with a late byte", TEXT * 400 + b"\xff", "not UTF-8"),
        ("text cut in a letter", TEXT * 400 + b"\xc2", "not UTF-8"),
    ],
)
def test_a_file_whose_rest_does_not_fit_is_refused(tmp_path, kind, data, why):
    with pytest.raises(EvidenceError, match=why):
        find(tmp_path, data)


def test_a_film_of_very_many_tiny_parts_is_refused(tmp_path):
    with pytest.raises(EvidenceError, match="more than 200000 parts"):
        find(tmp_path, box(b"ftyp", b"isom") + box(b"free") * 200_001)


def test_a_film_with_a_long_box_and_one_that_reaches_to_the_end_is_walked(tmp_path):
    long = (1).to_bytes(4, "big") + b"wide" + (16).to_bytes(8, "big")
    to_the_end = (0).to_bytes(4, "big") + b"mdat" + b"x" * 99

    assert find(tmp_path, long + box(b"moov") + to_the_end) is FileType.MOV


def test_a_letter_cut_at_the_end_of_the_head_is_no_fault(tmp_path):
    data = b"x" * (HEAD_BYTES - 1) + "µ".encode()

    assert find(tmp_path, data) is FileType.TEXT


def test_an_archive_that_leads_out_of_its_folder_is_refused(tmp_path):
    with pytest.raises(EvidenceError, match=r"\.\./\.\./key.* points out of its folder"):
        find(tmp_path, zip_of([("../../key", "x")]))


def test_a_spreadsheet_with_macros_is_refused(tmp_path):
    data = zip_of([("xl/workbook.xml", "x"), ("xl/vbaProject.bin", "x")])

    with pytest.raises(EvidenceError, match="macros"):
        find(tmp_path, data)


def test_a_name_that_promises_another_type_is_told(tmp_path):
    kind = find(tmp_path, FILES["jpeg"], "run.png")

    assert kind is FileType.JPEG
    assert name_notice("run.png", kind) == 'the name ends in ".png", the content is a JPEG picture'
    assert name_notice("run.JPEG", kind) is None
    assert name_notice("run", kind) is None
