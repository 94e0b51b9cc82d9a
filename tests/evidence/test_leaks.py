"""Forbidden words are found in the spellings in which they get out."""

import base64
import codecs
import contextlib
import gzip
import html
import io
import json
import quopri
import random
import urllib.parse
import zlib

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from PIL.PngImagePlugin import PngInfo
from tests.evidence.conftest import zip_of

from spinproof.evidence.identity import ForbiddenWord
from spinproof.evidence.leaks import find_leaks
from spinproof.model.errors import EvidenceError

NAME = "Vexmoor Lattice"
WORD = ForbiddenWord("a name of OTTER", NAME)
AROUND = "Door seal of {} held 200 kPa for 60 s."


def greek_and_cyrillic(text):
    return text.translate(str.maketrans("Veoxaic", "Vеοхаіс"))


SPELLINGS = {
    "plain": NAME,
    "upper case": NAME.upper(),
    "lower case": NAME.lower(),
    "spaced out": " ".join(NAME),
    "with hyphens": "-".join(NAME),
    "with low lines": NAME.replace(" ", "_"),
    "with points": ".".join(NAME),
    "run together": NAME.replace(" ", ""),
    "broken by a line": NAME.replace("moor", "-\nmoor"),
    "with invisible blanks": "\u200b".join(NAME),
    "with soft hyphens": "\u00ad".join(NAME),
    "with accents": "Véxmöør Låttîce".replace("ø", "o"),
    "full width": "".join(chr(ord(c) + 0xFEE0) if c != " " else c for c in NAME),
    "foreign look-alikes": greek_and_cyrillic(NAME),
    "digits for letters": "V3xm00r 1att1ce",
    "backwards": NAME[::-1],
    "in a web address": urllib.parse.quote("".join(f"%{ord(c):02x}" for c in NAME)),
    "as HTML": "".join(f"&#{ord(c)};" for c in NAME),
    "as JSON escapes": "".join(f"\\u{ord(c):04x}" for c in NAME),
    "quoted-printable": "".join(f"={ord(c):02X}" for c in NAME),
    "base64": base64.b64encode(NAME.encode()).decode(),
    "base64 inside more": base64.b64encode(f"x{NAME}".encode()).decode(),
    "hexadecimal": NAME.encode().hex(),
    "UTF-16 with zeros": "\0".join(NAME) + "\0",
    "two letters swapped": NAME.replace("tt", "t").replace("Latice", "Latitce"),
    "the first eight letters": NAME.replace(" ", "")[:8],
}
MISSED = {"the first eight letters"}
"""What the search does not find, said so in the documentation."""


def found(text, word=WORD):
    return find_leaks([word], {"note": text})


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_a_name_is_found_in_every_spelling_but_those_that_are_named(spelling):
    leaks = found(AROUND.format(SPELLINGS[spelling]))

    assert [leak.what for leak in leaks] == ([] if spelling in MISSED else ["a name of OTTER"])


def test_25_of_26_spellings_are_found():
    hits = sum(bool(found(AROUND.format(spelled))) for spelled in SPELLINGS.values())

    assert (hits, len(SPELLINGS)) == (25, 26)


def test_a_canary_is_found_by_its_first_eight_letters_as_well():
    canary = ForbiddenWord("the canary of OTTER", "badefugeruta", piece=8)

    assert found("see badefuge", canary)[0].how == "8 letters of it"
    assert not found("see badefug", canary)


def test_codes_inside_codes_are_taken_off():
    wrapped = urllib.parse.quote(json.dumps(base64.b64encode(NAME.encode()).decode()), safe="")
    lines = base64.encodebytes(("note " * 30 + NAME).encode()).decode()

    assert found(wrapped)[0].how == "percent code, base64"
    assert found(f"data={html.escape(wrapped)}")
    assert found(lines)[0].how == "base64"
    assert found(f"ref{base64.b64encode(NAME.encode()).decode()}")[0].how == "base64"
    assert found(quopri.encodestring("Ünd Vexmoor Lattice".encode()).decode())


def test_a_leak_says_where_but_never_repeats_the_word():
    (leak,) = found("Tested for VEXMOOR\u200b lattice.")

    assert (leak.where, leak.how, leak.at, leak.sure) == ("note", "plain", 11, True)
    assert str(leak) == "a name of OTTER in note, character 12 (plain)"
    assert "vexmoor" not in f"{leak}{leak!r}".lower()


@pytest.mark.parametrize(
    "text",
    [
        "Vexmor Lattice",
        "Vexmooor Lattice",
        "Vexmoor Lattise",
        "exmoor Lattice",
        "Vexmoor Lattic",
        "Vexmoo rLattice",
        "Vxemoor Lattice",
        "Vexmoolr attice",
    ],
)
def test_one_slip_of_the_hand_does_not_hide_a_name(text):
    assert found(AROUND.format(text))


def test_two_slips_are_another_word():
    assert not found(AROUND.format("Vexmar Lettice"))


@given(place=st.integers(0, 13), letter=st.sampled_from("bdfgkmnpqz"), slip=st.integers(0, 3))
def test_every_single_slip_anywhere_is_found(place, letter, slip):
    word = NAME.replace(" ", "")
    bent = {
        0: word[:place] + letter + word[place + 1 :],
        1: word[:place] + letter + word[place:],
        2: word[:place] + word[place + 1 :],
        3: word[:place] + word[place : place + 2][::-1] + word[place + 2 :],
    }[slip]

    assert found(AROUND.format(bent))


def test_a_short_word_is_found_as_a_whole_word_only_and_left_to_a_person():
    otter = ForbiddenWord("an alias", "OTTER")

    (leak,) = found("for Otter.", otter)
    assert not leak.sure
    assert str(leak).endswith("perhaps by chance")
    assert not found("hotter cotters", otter)
    assert found("for O-t-t-e-r", otter) == found("for O t t e r", otter)
    assert found("N2 at 4.1 bar", ForbiddenWord("a word", "N2"))
    assert not found("run 2", ForbiddenWord("a word", "N2"))


def test_six_characters_in_a_row_give_away_an_order_number():
    order = ForbiddenWord("an order number of OTTER", "PO 40-7716Q", piece=6)

    assert found("order 407716", order)[0].how == "6 letters of it"
    assert found("order 40.77.16.Q", order)
    assert not found("order 40771", order)


def test_numbers_of_a_measurement_hit_no_order_number_by_chance():
    """As many four-decimal numbers as a dossier may print."""
    draw = random.Random(1041)  # noqa: S311 - numbers of a test, no secret
    text = "\n".join(f"{draw.random():.4f}" for _ in range(200_000))

    assert not found(text, ForbiddenWord("an order number", "40771683"))
    assert not found("part 40771684", ForbiddenWord("an order number", "40771683"))


def test_plain_reports_of_the_trade_are_free_of_leaks(request):
    page = (request.config.rootpath / "docs" / "metrics.md").read_text()

    assert not find_leaks([WORD, ForbiddenWord("x", "Skelderby")], {"metrics": page})


def png_with(text, *, compressed):
    file, info = io.BytesIO(), PngInfo()
    info.add_text("note", text, zip=compressed)
    Image.new("RGB", (2, 2)).save(file, "PNG", pnginfo=info)
    return file.getvalue()


def jpeg_with(comment):
    file, exif = io.BytesIO(), Image.Exif()
    exif[0x9C9C] = comment
    Image.new("RGB", (2, 2)).save(file, "JPEG", exif=exif)
    return file.getvalue()


def parquet_with(column="speed", value="x", **metadata):
    file = io.BytesIO()
    table = pa.table({column: [value]}).replace_schema_metadata(metadata)
    pq.write_table(table, file, compression="zstd", use_dictionary=False, write_statistics=False)
    return file.getvalue()


LONG = ("x" * 50 + NAME) * 20

CARRIERS = {
    "text": NAME.encode(),
    "text in UTF-16": codecs.BOM_UTF16_LE + NAME.encode("utf-16-le"),
    "text in UTF-16, other order": NAME.encode("utf-16-be"),
    "UTF-16 among bytes, odd": b"\xff\x00\x01" + NAME.encode("utf-16-le") + b"\xff",
    "foreign letters in UTF-16": b"\xff\x00" + greek_and_cyrillic(NAME).encode("utf-16-be"),
    "foreign letters in UTF-16, odd": b"\xff\x00\x01"
    + greek_and_cyrillic(NAME).encode("utf-16-le"),
    "Latin-1": b"\xe9 " + NAME.encode(),
    "a PNG text": png_with(NAME, compressed=False),
    "a compressed PNG text": png_with(LONG, compressed=True),
    "a comment in UTF-16 in a JPEG": jpeg_with(NAME.encode("utf-16-le")),
    "bytes after the end": png_with("x", compressed=False) + NAME.encode(),
    "a stream of a PDF": b"%PDF-1.7\nstream\n" + zlib.compress(NAME.encode()) + b"\nendstream",
    "gzip": gzip.compress(LONG.encode()),
    "a file in a ZIP": zip_of([("a.txt", LONG)]),
    "a name in a ZIP": zip_of([(f"{NAME}.txt", "x")]),
    "a ZIP in a ZIP": zip_of([("inner.zip", zip_of([("a.txt", LONG)]))]),
    "values of a Parquet table": parquet_with(value=LONG),
    "a column of a Parquet table": parquet_with(column=NAME),
    "metadata of a Parquet table": parquet_with(owner=NAME),
}


@pytest.mark.parametrize("carrier", CARRIERS)
def test_a_name_is_found_in_every_carrier(carrier):
    leaks = find_leaks([WORD], {"file": CARRIERS[carrier]})

    assert {leak.what for leak in leaks} == {"a name of OTTER"}
    assert all(leak.where.startswith("file") for leak in leaks)


def test_the_same_carriers_without_the_name_are_clean():
    other = ForbiddenWord("a name of HERON", "Brackenfold Photonics")

    assert not find_leaks([other], CARRIERS)


@pytest.mark.parametrize(
    "data",
    [
        zip_of([("../a", "x")]),
        zip_of([("a", bytes(30_000_000))]),
        b"PK\x03\x04 damaged",
        gzip.compress(LONG.encode())[:-9],
        parquet_with()[:-20],
    ],
    ids=["leads out", "bomb", "damaged zip", "damaged gzip", "damaged Parquet"],
)
def test_what_cannot_be_searched_is_refused_and_not_passed(data):
    with pytest.raises(EvidenceError, match=r"not searched|cannot be searched") as caught:
        find_leaks([WORD], {"package": data})

    assert caught.value.where == "package"


def test_archives_in_archives_without_end_are_refused():
    data = b"x"
    for _ in range(6):
        data = zip_of([("a.zip", data)])

    with pytest.raises(EvidenceError, match="more than 4 deep"):
        find_leaks([WORD], {"package": data})


@given(data=st.binary(max_size=500))
def test_no_bytes_whatever_raise_anything_but_a_clear_refusal(data):
    with contextlib.suppress(EvidenceError):
        assert not find_leaks([WORD], {"file": data})
