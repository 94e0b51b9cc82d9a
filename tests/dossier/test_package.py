"""The package: whole or not there, the same bytes each time, with all that a judgement needs."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.dossier.handover_example import (
    KEY_MADE_AT,
    PASSPHRASE,
    Example,
    example,
    listed,
    small_example,
    trail_of,
    write_example,
    write_with,
)

from spinproof.dossier.keys import create_key
from spinproof.dossier.package import evidence_path, write_package
from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_bytes, sha256_of_file
from spinproof.model.errors import PackageError, StorageError
from spinproof.model.handover import EvidenceItem


def files_of(package: Path) -> dict[str, bytes]:
    return {
        path.relative_to(package).as_posix(): path.read_bytes()
        for path in package.rglob("*")
        if path.is_file()
    }


@pytest.fixture
def small(tmp_path):
    """Give the arguments of a small package, whose files lie ready."""
    chosen = small_example()
    key = create_key(tmp_path / "keys", chosen.handover.shop, KEY_MADE_AT, PASSPHRASE)
    return {
        "handover": chosen.handover,
        "traces": chosen.write_traces(tmp_path / "traces"),
        "inputs": (chosen.head, chosen.limits),
        "evidence": {},
        "keys": listed(key),
        "trail": trail_of(chosen),
        "folder": tmp_path / "packages",
    }


def write(arguments, **changes):
    arguments = arguments | changes
    return write_package(arguments.pop("handover"), **arguments)


def test_a_package_holds_every_kind_of_record(package):
    names = set(files_of(package))
    runs = [f"QA-1041-L-{i:03d}" for i in range(1, 81)]

    assert {f"runs/{run}.parquet" for run in runs} <= names
    assert {f"judgements/{run}.json" for run in runs} <= names
    assert {"records/scope.json", "records/plan.json", "records/configurations.json"} <= names
    assert {"dossier.pdf", "evidence.json", "VERIFY.txt", "release-cert.pem"} <= names
    assert sum(name.startswith("evidence/") for name in names) == 2
    kinds = [name.split("/")[1].split("-")[0] for name in names if name.startswith("inputs/")]
    assert (kinds.count("head"), kinds.count("limits")) == (1, 1)
    assert kinds.count("recipe") == 49  # 48 invented ones and the customer's


def test_the_folder_is_named_after_job_and_head(package):
    assert package.name == "QA-1041-QM-207-L"


def test_the_evidence_is_canonical_and_lists_every_record_and_statement(package):
    data = (package / "evidence.json").read_bytes()
    document = json.loads(data)

    assert canonical_json(document) == data
    assert document["schema_version"] == "spinproof.evidence.v1"
    assert document["tally"]["attempts"] == 79
    assert document["simulated"] is True
    for path, sum_ in document["files"].items():
        assert sha256_of_file(package / path) == sum_
    for statement in document["statements"]:
        assert set(statement["evidence"]) <= set(document["files"].values())
        assert statement["evidence"]


def test_every_statement_in_the_evidence_has_a_rule_and_a_number(package):
    statements = json.loads((package / "evidence.json").read_bytes())["statements"]

    assert [s["id"] for s in statements] == [f"S-{i:02d}" for i in range(1, len(statements) + 1)]
    assert all(s["rule"] for s in statements)


def test_the_same_arguments_give_the_same_bytes(tmp_path):
    one, key = write_example(small_example(), tmp_path / "one")
    other = write_with(small_example(), tmp_path / "other", key)

    assert files_of(one) == files_of(other)


def test_another_key_changes_what_names_the_key_and_no_record(tmp_path):
    one, _ = write_example(small_example(), tmp_path / "one")
    other, _ = write_example(small_example(), tmp_path / "other")
    ones, others = files_of(one), files_of(other)

    assert {name for name in ones if ones[name] != others[name]} == {
        "KEYS.json",
        "SHA256SUMS",
        "SHA256SUMS.sig",
        "VERIFY.txt",
        "dossier.pdf",
        "evidence.json",
        "release-cert.pem",
    }


def test_an_issued_package_is_never_overwritten(small):
    package = write(small)
    before = files_of(package)
    with pytest.raises(PackageError, match="never overwritten"):
        write(small)

    assert files_of(package) == before


def test_a_trace_that_changed_since_it_was_sealed_is_refused_and_nothing_is_left(small):
    (path,) = small["traces"].values()
    path.write_bytes(path.read_bytes() + b"x")
    with pytest.raises(PackageError, match="its SHA-256 differs"):
        write(small)

    assert list(small["folder"].iterdir()) == []


def test_a_missing_trace_is_refused(small):
    with pytest.raises(PackageError, match="the trace of run QA-1041-L-024 is missing"):
        write(small, traces={})


def test_a_trace_file_that_cannot_be_read_is_told(small):
    (path,) = small["traces"].values()
    path.unlink()
    with pytest.raises(StorageError, match="no such file"):
        write(small)

    assert list(small["folder"].iterdir()) == []


def test_a_package_without_the_limits_of_its_judgements_is_refused(small):
    with pytest.raises(PackageError, match="the limits that run QA-1041-L-024"):
        write(small, inputs=small["inputs"][:1])


def test_missing_evidence_is_refused(small):
    item = EvidenceItem("0" * 64, "log.csv", "a log", "TT-1", "2031-03-20T15:00:00.000Z")
    with pytest.raises(PackageError, match=r"the evidence log\.csv is missing"):
        write(small, handover=replace(small["handover"], evidence=(item,)))


def test_evidence_keeps_a_plain_name_whatever_it_was_called():
    item = EvidenceItem("ab" * 32, "../../Foto größe 1?.jpg", "", "", "")

    assert evidence_path(item) == "evidence/abababababababab-..-..-Foto-gr--e-1-.jpg"


def test_a_key_whose_certificate_has_ended_signs_nothing(small, tmp_path):
    old = create_key(tmp_path / "old", "a shop", datetime(2028, 1, 1, tzinfo=UTC), PASSPHRASE)
    with pytest.raises(PackageError, match="not valid at 2031-03-24"):
        write(small, keys=listed(old))


def test_a_promise_in_a_record_stops_the_package(small):
    handover = replace(small["handover"], machine="as new")
    with pytest.raises(PackageError, match="promise more"):
        write(small, handover=handover)

    assert list(small["folder"].iterdir()) == []


def test_a_job_name_that_is_no_file_name_is_refused(small):
    with pytest.raises(PackageError, match="cannot be a file name"):
        write(small, handover=replace(small["handover"], job="../QA"))


def test_what_a_broken_off_writing_left_is_cleared_away(small):
    left = small["folder"] / ".QA-1041-QM-207-L.part"
    left.mkdir(parents=True)
    (left / "dossier.pdf").write_bytes(b"half")

    assert write(small).is_dir()
    assert not left.exists()


def test_the_list_counts_the_files_and_the_instructions_say_how_many_there_are(package):
    files = files_of(package)
    listed = len(files) - 2
    text = files["VERIFY.txt"].decode("ascii")

    assert files["SHA256SUMS"].startswith(f"# files: {listed}\n".encode())
    assert f"names {listed} files" in text
    assert f"must print {listed + 2}" in text
    assert all(len(line) <= 100 for line in text.splitlines())


def test_the_customers_alias_and_nothing_else_than_the_order_is_in_the_package(package):
    """The records' allow-list has no field for a name; a canary in none of them stays out."""
    data = b"".join(files_of(package).values())

    assert b"PO 40-7716Q" in data
    assert b"OTTER" not in data


def test_sums_are_those_of_an_independent_reading(package):
    lines = (package / "SHA256SUMS").read_text("ascii").splitlines()[1:]

    for line in lines:
        sum_, path = line.split("  ")
        assert sha256_of_bytes((package / path).read_bytes()) == sum_


def test_the_example_has_the_numbers_of_the_demo_job():
    chosen: Example = example()

    assert str(chosen.handover.tally) == (
        "attempts 79 = counted 54 + void 22 + relevant failure 1 + invalid 2"
    )
    assert len(chosen.handover.exclusions) == 6
    assert len(chosen.handover.without_warranty) == 2
