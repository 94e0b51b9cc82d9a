"""The last look at a package: what tells of a customer is refused, wherever it stands."""

import io
import json
import zlib

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from spinproof.evidence.identity import ForbiddenWord
from spinproof.evidence.release import refuse_leaks
from spinproof.model.errors import PackageError

NAME = "Vexmoor Lattice"
WORDS = (ForbiddenWord("a name of OTTER", NAME), ForbiddenWord("a word of OTTER", "Quandrel"))
PACKAGE = {
    "evidence.json": json.dumps({"head": "QM-207-L", "runs": 50}).encode(),
    "dossier.pdf, its text": "54 of 54 runs counted.",
    "records/scope.json": b"{}",
}


def picture_that_tells() -> bytes:
    told = PngInfo()
    told.add_itxt("Comment", f"for {NAME}", zip=True)
    held = io.BytesIO()
    Image.new("RGB", (8, 8)).save(held, "PNG", pnginfo=told)
    return held.getvalue()


def table_that_tells() -> bytes:
    held = io.BytesIO()
    table = pa.table({"speed": [1.0, 2.0]}).replace_schema_metadata({"site": NAME})
    pq.write_table(table, held)
    return held.getvalue()


CARRIERS = {
    "records/plan.json": json.dumps({"note": f"as {NAME} asked"}).encode(),
    "dossier.pdf, figure full-1.svg": f"<svg><title>{NAME}</title></svg>",
    "evidence/log.csv": f"time;bar\n0;4.1 # {NAME}\n".encode("utf-16"),
    "evidence/seat.png": picture_that_tells(),
    "runs/QA-1041-L-001.parquet": table_that_tells(),
    "dossier.pdf": b"%PDF-1.7\nstream\n" + zlib.compress(f"/Author ({NAME})".encode()),
    "START-HERE.txt": f"Ask at {NAME.upper()}.".encode("ascii"),
}


@pytest.mark.parametrize("carrier", CARRIERS)
def test_each_carrier_is_searched_and_named(carrier: str):
    with pytest.raises(PackageError) as caught:
        refuse_leaks(WORDS, PACKAGE | {carrier: CARRIERS[carrier]}, where="dossier of head X")

    said = str(caught.value)
    assert f"a name of OTTER in {carrier}" in said
    assert "vexmoor" not in said.lower()


def test_the_name_of_a_file_is_searched():
    with pytest.raises(PackageError, match="in the names of its files"):
        refuse_leaks(WORDS, PACKAGE | {"evidence/quandrel-bowl.png": b"pixels"}, where="dossier")


def test_what_tells_nothing_passes():
    assert refuse_leaks(WORDS, PACKAGE, where="dossier") is None


def test_many_finds_are_counted():
    things = {f"evidence/{n}.txt": NAME for n in range(20)}

    with pytest.raises(PackageError, match="and 12 more"):
        refuse_leaks(WORDS[:1], things, where="dossier")
