"""The list of release keys: whom it names, what ended when, and that it only goes forward."""

import json

import pytest
from tests.dossier.handover_example import KEY_MADE_AT, PASSPHRASE, small_example, write_example

from spinproof.dossier.findings import FindingKind
from spinproof.dossier.key_list import (
    KEYS_FILE,
    Ended,
    ListedKey,
    fault_of_key,
    make_list,
    read_key_list,
)
from spinproof.dossier.keys import create_key
from spinproof.dossier.verification import verify_package
from spinproof.files.signing import new_private_key
from spinproof.model.errors import PackageError

ISSUED = "2031-03-24T16:00:00.000Z"
BEFORE, AFTER = "2031-03-20T08:00:00.000Z", "2031-04-02T08:00:00.000Z"


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Give a package and the key that signed it."""
    return write_example(small_example(), tmp_path_factory.mktemp("listed"))


def ended(key, how, when):
    return ListedKey(fingerprint=key.fingerprint, ended=how, ended_at=when)


def given(root, *keys, version=2):
    return make_list(root, "a shop", version, keys, AFTER)


def texts(package, known):
    found = verify_package(package, keys=known.to_bytes()).findings
    assert {finding.kind for finding in found} <= {FindingKind.UNTRUSTED_KEY}
    return [finding.text for finding in found]


def test_a_list_reads_back_and_any_change_of_it_is_refused():
    root = new_private_key()
    known = given(root, ListedKey(fingerprint=" ".join(["ABCD"] * 16)))
    data = known.to_bytes()

    assert read_key_list(data, KEYS_FILE) == known
    changed = json.loads(data) | {"version": 3}
    with pytest.raises(PackageError, match="not signed by the root"):
        read_key_list(json.dumps(changed).encode(), KEYS_FILE)
    for junk in (b"", b"{}", b"[" * 10_000, b"\xff", b'{"version": 1e999}'):
        with pytest.raises(PackageError, match="no list of release keys"):
            read_key_list(junk, KEYS_FILE)


@pytest.mark.parametrize("how", [Ended.REPLACED, Ended.LOST])
def test_what_a_key_signed_before_its_end_stays_good(written, how):
    key = written[1]
    root = new_private_key()

    assert fault_of_key(given(root, ended(key, how, AFTER)), key.certificate, ISSUED) is None
    why = fault_of_key(given(root, ended(key, how, BEFORE)), key.certificate, ISSUED)
    assert why == f"the shop ended this key ({how}, {BEFORE}) before the package"


def test_nobody_can_say_who_signed_with_a_stolen_key_whatever_the_date(written):
    key = written[1]
    why = fault_of_key(
        given(new_private_key(), ended(key, Ended.STOLEN, AFTER)), key.certificate, ISSUED
    )

    assert "stolen" in why
    assert "nobody can say who signed this" in why


@pytest.mark.parametrize("moment", ["", "yesterday", "2031-03-24"])
def test_a_moment_that_is_none_is_not_before_the_end(written, moment):
    known = given(new_private_key(), ended(written[1], Ended.LOST, AFTER))

    assert fault_of_key(known, written[1].certificate, moment)


def test_the_fingerprint_of_the_root_stands_for_each_key_that_it_names(written):
    package, key = written
    inside = read_key_list((package / KEYS_FILE).read_bytes(), KEYS_FILE)

    assert verify_package(package, inside.root_fingerprint).ok
    assert verify_package(package, key.fingerprint).ok
    wrong = verify_package(package, " ".join(["ABCD"] * 16))
    assert [finding.kind for finding in wrong.findings] == [FindingKind.WRONG_FINGERPRINT]


def test_a_list_of_another_root_is_told(written):
    package, key = written
    other = given(new_private_key(), ListedKey(fingerprint=key.fingerprint))

    assert texts(package, other) == ["is signed by another root key than the list that was given"]


def test_a_key_that_no_list_names_signs_nothing(written, tmp_path):
    stranger = create_key(tmp_path / "stranger", "a shop", KEY_MADE_AT, PASSPHRASE)
    known = given(new_private_key(), ListedKey(fingerprint=stranger.fingerprint))

    assert any("does not name this key" in text for text in texts(written[0], known))
