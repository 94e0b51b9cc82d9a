"""The head of the audit trail in a package: every bent proof is found, a held head is compared."""

import json
import shutil

import pytest
from tests.forged.conftest import sign_anew

from spinproof.dossier.trail import HEAD_FILE, PROOFS_FILE, check_trail
from spinproof.dossier.verification import verify_package
from spinproof.files.tree import leaf_hash, root_of

RUNS = ("QA-1041-L-024",)


@pytest.fixture
def folder(package, tmp_path):
    """Give the head and proofs of a package alone, to be bent."""
    for name in (HEAD_FILE, PROOFS_FILE):
        shutil.copy(package / name, tmp_path / name)
    return tmp_path


def bend(folder, name, change):
    document = json.loads((folder / name).read_bytes())
    change(document)
    (folder / name).write_text(json.dumps(document), encoding="utf-8")


def texts(folder, held=None):
    return [finding.text for finding in check_trail(folder, RUNS, held)[0]]


def flipped(digits):
    return ("0" if digits[0] != "0" else "1") + digits[1:]


def test_a_whole_trail_says_what_was_checked(package):
    findings, checked = check_trail(package, RUNS, None)

    assert findings == ()
    assert checked == (
        "80 runs stand in the audit trail of 240 rows, which only grew since 1 earlier heads",
    )


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        (HEAD_FILE, lambda d: d["head"].update(size=241), "the signature does not fit"),
        (HEAD_FILE, lambda d: d.update(signature=flipped(d["signature"])), "does not fit"),
        (PROOFS_FILE, lambda d: d.update(size=239), "its proofs lead to 239 rows"),
        (
            PROOFS_FILE,
            lambda d: d["earlier"][0].update(root=flipped(d["earlier"][0]["root"])),
            "did not grow from the head of 2 rows",
        ),
        (PROOFS_FILE, lambda d: d["runs"][3].update(row=11), "row 11 about run"),
        (
            PROOFS_FILE,
            lambda d: d["runs"][3].update(leaf=flipped(d["runs"][3]["leaf"])),
            "does not stand there",
        ),
        (PROOFS_FILE, lambda d: d["runs"][3]["proof"].pop(), "run QA-1041-L-004 does not stand"),
        (
            PROOFS_FILE,
            lambda d: d.update(runs=[r for r in d["runs"] if r["run"] not in RUNS]),
            "no row of the trail is about run QA-1041-L-024",
        ),
        (PROOFS_FILE, lambda d: d.update(more=1), "its proofs cannot be read"),
        (HEAD_FILE, lambda d: d.pop("at"), "cannot be read"),
    ],
)
def test_every_bent_proof_is_found(folder, name, change, said):
    bend(folder, name, change)

    assert any(said in text for text in texts(folder))


def test_a_head_that_the_reader_holds_is_compared(folder):
    rows = [leaf_hash(f"row {i}".encode()) for i in range(240)]

    assert texts(folder, (2, root_of(rows[:2]).hex())) == []
    assert texts(folder, (240, root_of(rows).hex())) == []
    assert "is none that the package names" in texts(folder, (3, root_of(rows[:3]).hex()))[0]
    assert "has another root in this package" in texts(folder, (2, root_of(rows[1:3]).hex()))[0]


def test_a_package_without_a_head_cannot_answer_one_that_is_held(tmp_path):
    assert texts(tmp_path) == []
    assert texts(tmp_path, (2, "0" * 64)) == ["the package has no head to compare"]


def test_a_trail_that_was_cut_and_signed_anew_contradicts_the_held_head(written, tmp_path):
    package, key = written
    forged = shutil.copytree(package, tmp_path / "forged")
    bend(forged, PROOFS_FILE, lambda d: d.update(earlier=[]))
    sign_anew(forged, key)
    rows = [leaf_hash(f"row {i}".encode()) for i in range(2)]
    found = verify_package(forged, held=(2, root_of(rows).hex())).findings

    assert any("that you hold" in finding.text for finding in found)
