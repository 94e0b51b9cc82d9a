"""Words of promise: none gets into a dossier."""

import pytest

from spinproof.dossier.wording import refuse_promises
from spinproof.model.errors import PackageError


@pytest.mark.parametrize(
    "text",
    [
        "the machine was fully refurbished",
        "as new",
        "AS NEW",
        "good as\nnew",
        "it complies with the standard",
        "the head conforms",
        "a certified head",
        "dryness is guaranteed",
        "all heads were tested",
        "no wear was found",
    ],
)
def test_a_promise_is_refused_wherever_it_stands(text):
    with pytest.raises(PackageError, match="promise more") as refused:
        refuse_promises({"rows": [{"remark": text}]}, "dossier.pdf")

    assert refused.value.where == "dossier.pdf, rows 1, remark"


@pytest.mark.parametrize(
    "text",
    [
        "no conformity with a standard is claimed",
        "carefully dried",
        "the count began anew",
        "release certificate",
        "renewal of the seal",
    ],
)
def test_plain_words_pass(text):
    refuse_promises([text, 3, None, {"x": (text,)}], "dossier.pdf")
