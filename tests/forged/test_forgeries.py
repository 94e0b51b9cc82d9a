"""One package for each way of being broken, and what the check says about it."""

import json
import os
from datetime import datetime

import pytest
from tests.dossier.handover_example import listing
from tests.forged.conftest import found, sign_anew

from spinproof.dossier.key_list import ListedKey, make_list
from spinproof.dossier.pdf_signature import sign_pdf
from spinproof.dossier.sums import read_list, write_list
from spinproof.dossier.verification import verify_package
from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_bytes
from spinproof.files.signing import new_private_key

RUN = "runs/QA-1041-L-024.parquet"
JUDGEMENT = "judgements/QA-1041-L-024.json"


def test_an_added_file_is_found(package):
    (package / "runs" / "QA-1041-L-999.parquet").write_bytes(b"more")

    assert found(verify_package(package)) == {("added", "runs/QA-1041-L-999.parquet")}


def test_an_added_empty_folder_is_found(package):
    (package / "runs" / "more").mkdir()

    assert found(verify_package(package)) == {("odd entry", "runs/more")}


def test_a_hidden_file_is_found(package):
    (package / ".note").write_bytes(b"")

    assert found(verify_package(package)) == {("added", ".note")}


def test_a_file_with_an_unprintable_name_is_found(package):
    (package / os.fsdecode(b"\xff\n")).write_bytes(b"")
    ((kind, name),) = found(verify_package(package))

    assert kind == "added"
    assert name.encode("utf-8")


@pytest.mark.parametrize("name", [RUN, "dossier.pdf", "evidence.json", "VERIFY.txt"])
def test_a_removed_file_is_found(package, name):
    (package / name).unlink()

    assert ("removed", name) in found(verify_package(package))


@pytest.mark.parametrize("name", ["SHA256SUMS", "SHA256SUMS.sig", "release-cert.pem"])
def test_a_removed_list_signature_or_certificate_is_found(package, name):
    (package / name).unlink()
    result = verify_package(package)

    assert ("removed", name) in found(result)
    assert result.trust == "not verified"


def test_two_files_that_changed_places_are_both_found(package):
    one, other = package / RUN, package / JUDGEMENT
    first, second = one.read_bytes(), other.read_bytes()
    one.write_bytes(second)
    other.write_bytes(first)

    assert found(verify_package(package)) == {("changed", RUN), ("changed", JUDGEMENT)}


def test_a_renamed_file_is_found_under_both_names(package):
    (package / RUN).rename(package / "runs" / "other.parquet")

    assert found(verify_package(package)) == {("removed", RUN), ("added", "runs/other.parquet")}


@pytest.mark.parametrize("target", ["dossier.pdf", "/etc/hostname", "nowhere"])
def test_a_link_is_found_even_when_it_leads_to_the_right_bytes(package, target):
    path = package / RUN
    kept = package.parent / "kept"
    path.rename(kept)
    path.symlink_to(kept if target == "dossier.pdf" else target)

    assert ("odd entry", RUN) in found(verify_package(package))


def test_a_linked_folder_is_found_and_not_followed(package):
    (package / "loop").symlink_to(package, target_is_directory=True)

    assert found(verify_package(package)) == {("odd entry", "loop")}


def test_a_pipe_is_found_and_not_waited_for(package):
    os.mkfifo(package / "pipe")

    assert found(verify_package(package)) == {("odd entry", "pipe")}


def test_an_extra_line_in_the_list_is_found(package):
    with (package / "SHA256SUMS").open("ab") as listed:
        listed.write(b"0" * 64 + b"  zzz.txt\n")

    assert found(verify_package(package)) == {
        ("malformed list", "SHA256SUMS"),
        ("removed", "zzz.txt"),
        ("bad signature", "SHA256SUMS.sig"),
    }


def test_a_dropped_line_is_found_as_an_added_file(package):
    path = package / "SHA256SUMS"
    sums = dict(read_list(path.read_bytes()).sums)
    del sums[RUN]
    path.write_bytes(write_list(sums))

    assert found(verify_package(package)) == {
        ("added", RUN),
        ("bad signature", "SHA256SUMS.sig"),
    }


@pytest.mark.parametrize("listed", [b"", b"# files: 0\n"])
def test_an_empty_list_is_found(package, listed):
    (package / "SHA256SUMS").write_bytes(listed)

    assert ("malformed list", "SHA256SUMS") in found(verify_package(package))


@pytest.mark.parametrize("cut", [1, 8, 40])
def test_a_truncated_signature_is_found(package, cut):
    path = package / "SHA256SUMS.sig"
    path.write_bytes(path.read_bytes()[:-cut])

    assert found(verify_package(package)) == {("bad signature", "SHA256SUMS.sig")}


def test_a_signature_of_another_key_is_found(package, forger):
    (package / "SHA256SUMS.sig").write_bytes(forger.sign((package / "SHA256SUMS").read_bytes()))

    assert found(verify_package(package)) == {("bad signature", "SHA256SUMS.sig")}


def test_the_certificate_of_another_key_of_the_same_name_is_found(package, forger):
    (package / "release-cert.pem").write_bytes(forger.certificate_pem)

    assert found(verify_package(package)) == {
        ("changed", "release-cert.pem"),
        ("bad signature", "SHA256SUMS.sig"),
    }


def rewrite_evidence(package, change, key=None):
    """Change the facts and all that hangs on them; a careful forger signs the document too."""
    path = package / "evidence.json"
    document = json.loads(path.read_bytes())
    before = sha256_of_bytes(path.read_bytes())
    change(document)
    path.write_bytes(canonical_json(document))
    pdf = package / "dossier.pdf"
    after = sha256_of_bytes(path.read_bytes())
    content = pdf.read_bytes().replace(before.encode(), after.encode())
    if key is not None:
        unsigned = content[: content.index(b"%%EOF") + len(b"%%EOF\n")]
        content = sign_pdf(unsigned, key, datetime.fromisoformat(document["issued_at"]))
    pdf.write_bytes(content)


def test_a_careful_forgery_under_a_new_key_fails_against_the_fingerprint_from_outside(
    package, key, forger
):
    def lie(facts):
        facts.update(machine="QM-999", certificate=forger.fingerprint)
        facts["files"]["release-cert.pem"] = sha256_of_bytes(forger.certificate_pem)
        facts["files"]["KEYS.json"] = sha256_of_bytes(listed)

    own = make_list(new_private_key(), "a shop", 9, [ListedKey(fingerprint=forger.fingerprint)], "")
    listed = own.to_bytes()
    (package / "KEYS.json").write_bytes(listed)
    rewrite_evidence(package, lie, forger)
    sign_anew(package, forger)

    assert verify_package(package).ok  # the key inside alone cannot tell: this is its limit
    assert found(verify_package(package, key.fingerprint)) == {
        ("wrong fingerprint", "release-cert.pem")
    }
    assert ("key not to be trusted", "KEYS.json") in found(
        verify_package(package, keys=listing(key).to_bytes())
    )


def test_a_forger_who_leaves_the_list_of_keys_is_found_without_a_fingerprint(package, forger):
    def lie(facts):
        facts.update(machine="QM-999", certificate=forger.fingerprint)
        facts["files"]["release-cert.pem"] = sha256_of_bytes(forger.certificate_pem)

    rewrite_evidence(package, lie, forger)
    sign_anew(package, forger)

    assert found(verify_package(package)) == {("key not to be trusted", "release-cert.pem")}


def test_a_line_dropped_and_signed_anew_with_another_key_is_found(package, key, forger):
    (package / RUN).unlink()
    (package / RUN).parent.rmdir()
    sign_anew(package, forger)
    result = verify_package(package, key.fingerprint)

    assert ("wrong fingerprint", "release-cert.pem") in found(result)
    assert ("contradiction", RUN) in found(result)


FALSE_FACTS = {
    "a statement without its record": (
        lambda d: d["statements"][0].update(evidence=["0" * 64]),
        "evidence.json",
    ),
    "a tally that does not add up": (lambda d: d["tally"].update(counted=54), "evidence.json"),
    "another trace": (lambda d: d["attempts"][0].update(trace_sha256="0" * 64), RUN),
    "another judgement": (lambda d: d["attempts"][0].update(judgement_sha256="0" * 64), JUDGEMENT),
    "evidence that is not inside": (
        lambda d: d["attempts"][0].update(evidence=["0" * 64]),
        "evidence.json",
    ),
    "a run with the name of a path": (
        lambda d: d["attempts"][0].update(run="../../etc/passwd"),
        "judgements/../../etc/passwd.json",
    ),
    "a simulation passed off as real": (lambda d: d.update(simulated=False), "evidence.json"),
    "another certificate": (lambda d: d.update(certificate="no such"), "evidence.json"),
    "issued after the certificate's end": (
        lambda d: d.update(issued_at="2041-01-01T00:00:00.000Z"),
        "release-cert.pem",
    ),
    "issued at no moment": (lambda d: d.update(issued_at="some day"), "release-cert.pem"),
    "another sum than in the list": (lambda d: d["files"].update({RUN: "0" * 64}), RUN),
    "a file that it leaves out": (lambda d: d["files"].pop(RUN), RUN),
    "a file that is not there": (lambda d: d["files"].update({"more.txt": "0" * 64}), "more.txt"),
    "a key too many": (lambda d: d.update(more=1), "evidence.json"),
    "a key too few": (lambda d: d.pop("scope"), "evidence.json"),
}


@pytest.mark.parametrize("fact", FALSE_FACTS)
def test_a_false_fact_is_found_even_when_the_shop_itself_signs_it(package, key, fact):
    change, file = FALSE_FACTS[fact]
    rewrite_evidence(package, change)
    sign_anew(package, key)

    assert ("contradiction", file) in found(verify_package(package, key.fingerprint))


SPOILT = {
    "a space": lambda data: data.replace(b"{", b"{ ", 1),
    "a key twice": lambda data: b'{"job":"twice",' + data[1:],
    "nested without end": lambda data: b"[" * 100_000 + data[:0],
    "no text": lambda data: b"\xff\xfe" + data[:0],
    "a number beyond all": lambda data: data.replace(b'"number":24', b'"number":1e999'),
}


@pytest.mark.parametrize("spoil", SPOILT)
def test_evidence_that_is_not_canonical_json_is_found(package, key, spoil):
    path = package / "evidence.json"
    path.write_bytes(SPOILT[spoil](path.read_bytes()))
    sign_anew(package, key)

    assert ("contradiction", "evidence.json") in found(verify_package(package))


def test_a_document_of_another_package_is_found(package, key, whole):
    (package / "dossier.pdf").write_bytes((whole[0] / "dossier.pdf").read_bytes())
    sign_anew(package, key)

    assert found(verify_package(package)) == {
        ("contradiction", "dossier.pdf"),
        ("bad signature", "dossier.pdf"),
    }


def test_a_document_that_was_changed_and_listed_anew_breaks_its_own_signature(package, key):
    """Whoever holds the key could do it: the document still shows that it was not signed so."""
    pdf = package / "dossier.pdf"
    spoilt = bytearray(pdf.read_bytes())
    spoilt[len(spoilt) // 3] ^= 1
    pdf.write_bytes(bytes(spoilt))
    sign_anew(package, key)

    assert ("bad signature", "dossier.pdf") in found(verify_package(package))


def test_bytes_appended_to_the_document_are_found_by_its_own_signature(package, key):
    with (package / "dossier.pdf").open("ab") as pdf:
        pdf.write(b"\n% one more thing\n")
    sign_anew(package, key)

    assert found(verify_package(package)) == {("bad signature", "dossier.pdf")}


def test_a_document_without_its_signature_is_found(package, key):
    pdf = package / "dossier.pdf"
    content = pdf.read_bytes()
    pdf.write_bytes(content[: content.index(b"%%EOF") + len(b"%%EOF\n")])
    sign_anew(package, key)

    assert found(verify_package(package)) == {("bad signature", "dossier.pdf")}


FALSE_JUDGEMENTS = {
    "of another run": {"run": "QA-1041-L-025"},
    "by other limits": {"limits_sha256": "0" * 64},
    "with an outcome that is none": {"outcome": "good"},
}


@pytest.mark.parametrize("change", FALSE_JUDGEMENTS)
def test_a_judgement_exchanged_with_all_its_sums_is_found(package, key, change):
    path = package / JUDGEMENT
    document = json.loads(path.read_bytes())
    before = sha256_of_bytes(path.read_bytes())
    document.update(FALSE_JUDGEMENTS[change])
    path.write_bytes(canonical_json(document))
    after = sha256_of_bytes(path.read_bytes())

    def follow(facts):
        text = json.dumps(facts).replace(before, after)
        facts.update(json.loads(text))

    rewrite_evidence(package, follow)
    sign_anew(package, key)

    assert ("contradiction", JUDGEMENT) in found(verify_package(package, key.fingerprint))
