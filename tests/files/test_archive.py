"""An archive is judged before it is unpacked."""

import io
import stat
import warnings
import zipfile

import pytest

from spinproof.files.archive import ENTRY_LIMIT, refusal_of


def archive_of(*names, data=b"x"):
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns of doubled names
        for name in names:
            archive.writestr(name, data)
    return file


def test_a_plain_archive_may_be_unpacked():
    assert refusal_of(archive_of("a.txt", "folder/b.txt", "folder/")) is None


@pytest.mark.parametrize(
    ("names", "why"),
    [
        (("../a",), "points out"),
        (("a/../../b",), "points out"),
        (("a\\..\\b",), "points out"),
        (("/etc/a",), "absolute"),
        (("C:\\a",), "absolute"),
        (("\\a",), "absolute"),
        (("a", "a"), "'a' twice"),
        (("a/B", "A/b"), "twice"),
        (("e\u0301", "\u00e9"), "twice"),
        (("a\nb",), "control character"),
    ],
)
def test_names_that_would_write_elsewhere_or_twice_are_refused(names, why):
    assert why in refusal_of(archive_of(*names))


def test_links_and_locked_entries_are_refused():
    link = zipfile.ZipInfo("link")
    link.external_attr = (stat.S_IFLNK | 0o777) << 16
    locked = bytearray(archive_of("a").getvalue())
    locked[locked.index(b"PK\x01\x02") + 8] |= 1

    assert "is a link" in refusal_of(archive_of(link, data=b"/etc/passwd"))
    assert "password" in refusal_of(io.BytesIO(locked))


def test_a_zip_bomb_is_refused_by_its_ratio_and_by_its_size():
    bomb = archive_of("bomb", data=bytes(20_000_000))

    assert "times its size, as a zip bomb does" in refusal_of(bomb)
    assert "would unpack to 20000000 bytes" in refusal_of(bomb, unpacked_limit=1_000_000)


def test_too_many_entries_are_refused():
    names = (str(number) for number in range(ENTRY_LIMIT + 1))

    assert f"more than {ENTRY_LIMIT}" in refusal_of(archive_of(*names, data=b""))


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"PK\x05\x06" + bytes(3), b"x" * 100])
def test_what_has_no_list_of_contents_is_refused(data):
    assert "cannot be read" in refusal_of(io.BytesIO(data))


def test_no_flipped_byte_makes_the_check_fail_otherwise():
    sound = archive_of("a.txt", "b/c.txt").getvalue()
    for at in range(len(sound)):
        bent = bytearray(sound)
        bent[at] ^= 0xFF
        assert isinstance(refusal_of(io.BytesIO(bent)), str | None)
