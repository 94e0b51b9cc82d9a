"""One document, one sequence of bytes."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.files.canonical import canonical_json, digest_of
from spinproof.model.errors import DocumentError

plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner) | st.dictionaries(st.text("abcß€😀"), inner),
)


@given(plain)
def test_a_document_survives_the_round_trip_and_its_bytes_do_too(document):
    data = canonical_json(document)

    assert json.loads(data, parse_int=float) == document
    assert canonical_json(json.loads(data, parse_int=float)) == data


@given(st.dictionaries(st.text("abc", min_size=1), st.integers(0, 9), min_size=2))
def test_the_order_of_keys_does_not_matter(document):
    turned = dict(reversed(document.items()))

    assert canonical_json(turned) == canonical_json(document)
    assert digest_of(turned) == digest_of(document)


@pytest.mark.parametrize(
    "document",
    [
        float("nan"),
        [float("inf")],
        {"a": 2**53},
        {1: "a"},
        {"a": b"bytes"},
        "\ud800",
        {"a": {1, 2}},
    ],
)
def test_what_json_cannot_hold_is_refused(document):
    with pytest.raises(DocumentError, match="canonical JSON"):
        canonical_json(document)


def test_a_numpy_float_is_written_like_a_float():
    assert canonical_json({"x": np.float64(0.1)}) == canonical_json({"x": 0.1})
