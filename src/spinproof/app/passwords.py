"""Passwords and PINs: what is accepted as one, and how it is held."""

import secrets
import threading
import unicodedata
from functools import cached_property
from itertools import pairwise

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from spinproof.model.access import PASSWORD_LENGTH, PIN_LENGTH, name_key
from spinproof.model.errors import DocumentError

FEWEST_KINDS = 5
"""A password of fewer different characters is one that everybody tries."""


class Passwords:
    """Hashes and checks, one at a time: sign-ins must never starve a recording.

    Parameters
    ----------
    hasher : PasswordHasher, optional
        Argon2id with its parameters; they stand in each hash. The library's own by default.
    """

    def __init__(self, hasher: PasswordHasher | None = None) -> None:
        self._hasher = hasher or PasswordHasher()
        self._turn = threading.Lock()

    @cached_property
    def _nobodys(self) -> str:
        return self._hasher.hash(secrets.token_urlsafe())

    def hash(self, text: str) -> str:
        """Give the hash of a password or PIN, with its salt and parameters."""
        with self._turn:
            return self._hasher.hash(normal(text))

    def holds(self, text: str, hashed: str | None) -> bool:
        """Tell whether a text is the one that was hashed.

        Without a hash it takes as long, so that time does not tell who is known here.
        """
        with self._turn:
            try:
                self._hasher.verify(hashed or self._nobodys, normal(text))
            except (VerificationError, InvalidHashError):
                return False
        return hashed is not None

    def is_stale(self, hashed: str) -> bool:
        """Tell whether a hash was made with other parameters than today's."""
        return self._hasher.check_needs_rehash(hashed)


def normal(text: str) -> str:
    """Give a password as it is hashed: keyboards write one character in several ways."""
    return unicodedata.normalize("NFKC", text)


def require_password(password: str, name: str) -> None:
    """Refuse a password that is soon guessed. No kinds of characters are demanded.

    Raises
    ------
    DocumentError
        If it is too short, too long, too plain, or contains the name.
    """
    text, where = normal(password), f"password of {name}"
    if len(text) not in PASSWORD_LENGTH:
        raise DocumentError(
            f"the password has {len(text)} characters",
            where=where,
            mend=f"Give {PASSWORD_LENGTH.start} or more, up to {PASSWORD_LENGTH.stop - 1}: "
            "four words of your own do well.",
        )
    folded = text.casefold()
    for known in (name_key(name), "spinproof"):
        folded = folded.replace(known, "")
    if len(set(folded)) < FEWEST_KINDS:
        raise DocumentError(
            "the password is one that is tried first",
            where=where,
            mend="Choose words that have nothing to do with the name or the program.",
        )


def require_pin(pin: str, name: str) -> None:
    """Refuse a PIN that is none, or is soon guessed.

    Raises
    ------
    DocumentError
        If it has not six digits, or they run in a row.
    """
    steps = {(ord(b) - ord(a)) % 10 for a, b in pairwise(pin)}
    if not (pin.isascii() and pin.isdecimal() and len(pin) == PIN_LENGTH) or steps <= {0}:
        problem = f"a PIN has {PIN_LENGTH} digits, not all the same"
    elif steps in ({1}, {9}):
        problem = "digits in a row are tried first"
    else:
        return
    raise DocumentError(problem, where=f"PIN of {name}", mend="Choose other digits.")
