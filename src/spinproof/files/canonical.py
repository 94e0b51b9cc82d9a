"""Canonical JSON (RFC 8785): one document, one sequence of bytes, one hash."""

from typing import Any, cast

import rfc8785

from spinproof.files.digest import sha256_of_bytes
from spinproof.model.errors import DocumentError


def canonical_json(document: object) -> bytes:
    """Give a document as canonical JSON.

    Parameters
    ----------
    document : object
        Dictionaries, lists, strings, numbers, booleans and None.

    Returns
    -------
    bytes
        UTF-8, keys sorted, without white space.

    Raises
    ------
    DocumentError
        If the document holds NaN, an infinity, an integer beyond 2**53 - 1, or no JSON type.

    References
    ----------
    .. [1] A. Rundgren, B. Jordan and S. Erdtman, "JSON Canonicalization Scheme (JCS)," RFC 8785
       (2020).

    Examples
    --------
    >>> canonical_json({"b": 2.50, "a": [True, None]})
    b'{"a":[true,null],"b":2.5}'
    """
    try:
        return rfc8785.dumps(cast("Any", document))
    except rfc8785.CanonicalizationError as error:
        raise DocumentError(
            f"the document cannot be written as canonical JSON: {error}",
            where="canonical_json",
            mend="Use finite numbers below 2**53, text, lists and dictionaries with text as keys.",
        ) from error


def digest_of(document: object) -> str:
    """Give the SHA-256 of a document's canonical JSON.

    Parameters
    ----------
    document : object
        As for `canonical_json`, with its refusals.

    Returns
    -------
    str
        64 hexadecimal digits, lower case.
    """
    return sha256_of_bytes(canonical_json(document))
