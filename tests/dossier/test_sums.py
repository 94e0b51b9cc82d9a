"""The list of sums: what is written is read back, and nothing else is accepted."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.dossier.sums import is_plain_path, read_list, write_list

A, B = "a" * 64, "b" * 64
GOOD = write_list({"runs/one.parquet": A, "dossier.pdf": B})

names = st.from_regex(r"[A-Za-z0-9_-][A-Za-z0-9._-]{0,8}", fullmatch=True)
paths = st.lists(names, min_size=1, max_size=3).map("/".join).filter(is_plain_path)
sums = st.from_regex("[0-9a-f]{64}", fullmatch=True)


@given(st.dictionaries(paths, sums, min_size=1, max_size=8))
def test_a_list_is_read_back_as_it_was_written(listed):
    found = read_list(write_list(listed))

    assert found.sums == listed
    assert found.faults == ()


def test_a_list_looks_as_sha256sum_writes_it():
    assert f"# files: 2\n{B}  dossier.pdf\n{A}  runs/one.parquet\n".encode() == GOOD


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        (b"", "the last line does not end"),
        (GOOD[:-1], "the last line does not end"),
        (GOOD.replace(b"# files: 2\n", b""), 'line 1 is not "# files: N"'),
        (GOOD.replace(b"files: 2", b"files: 02"), 'line 1 is not "# files: N"'),
        (GOOD.replace(b"files: 2", b"files: 3"), "line 1 counts 3 files, and 2 lines follow"),
        (GOOD.replace(b"  dossier", b" *dossier"), "line 2 is not a sum and a path"),
        (GOOD.replace(b"bb  ", b"BB  "), "line 2 is not a sum and a path"),
        (GOOD.replace(b"dossier.pdf", b"../dossier.pdf"), "line 2 is not a sum and a path"),
        (GOOD.replace(b"dossier.pdf", b"/dossier.pdf"), "line 2 is not a sum and a path"),
        (GOOD.replace(b"dossier.pdf", b"runs/.hidden"), "line 2 is not a sum and a path"),
        (GOOD.replace(b"dossier.pdf", b"SHA256SUMS"), "line 2 is not a sum and a path"),
        (GOOD.replace(b"dossier", "dössier".encode()), "line 2 is not a sum and a path"),
        (GOOD.replace(b"\n", b"\r\n"), 'line 1 is not "# files: N"'),
        (GOOD + b"\n", "line 4 is not a sum and a path"),
        (GOOD + f"{A}  dossier.pdf\n".encode(), "line 4 names dossier.pdf again"),
        (write_list({}), "the list is empty"),
    ],
)
def test_a_list_of_another_form_is_told_with_its_line(data, fault):
    assert fault in read_list(data).faults


def test_paths_out_of_order_are_told():
    head, first, second, end = GOOD.split(b"\n")

    assert "the paths are out of order" in read_list(b"\n".join([head, second, first, end])).faults


@given(st.binary(max_size=300))
def test_any_bytes_are_read_without_an_error(data):
    found = read_list(data)

    assert found.faults or write_list(found.sums) == data
