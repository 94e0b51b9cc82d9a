"""Who a customer is, and the words that must not leave the shop because of it."""

import re
import secrets
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Annotated, Any

from pydantic import ConfigDict, Field, StringConstraints

from spinproof.model.noun import Name, Noun

SecretText = Annotated[
    str,
    StringConstraints(
        min_length=2, max_length=300, strip_whitespace=True, pattern=r"(?s)[^\W_].*[^\W_]"
    ),
]

_COMMON = re.compile(
    "company|corporation|limited|group|holding|international|semiconductors?|electronics|devices"
    "|technolog(y|ies)|systems|solutions|industr(y|ies|ial)|manufacturing|factory|works|wafers?"
    "|silicon|micro|university|institute|research|cent(er|re)|laborator(y|ies)|street|avenue"
    "|boulevard|building|floor|north|south|east|west|house",
    re.IGNORECASE,
)
"""Words of names and addresses that point at nobody by themselves."""


def canary() -> str:
    """Make a word of twelve letters that nobody uses, to be planted where a leak would show.

    >>> import re
    >>> bool(re.fullmatch("([bdfgkmnprstvz][aeu]){6}", canary()))
    True
    """
    return "".join(
        secrets.choice("bdfgkmnprstvz") + secrets.choice("aeu")  # no letters that look alike
        for _ in range(6)
    )


def _order_token() -> str:
    return secrets.token_hex(16)


class Identity(Noun):
    """A customer as only the owner may see it; printed or logged, it shows its alias alone."""

    model_config = ConfigDict(hide_input_in_errors=True)

    alias: Name
    """The word that the shop uses instead, for example an animal."""
    names: Annotated[tuple[SecretText, ...], Field(min_length=1, strict=False)]
    """Of the company, its sites and its people."""
    contacts: Annotated[tuple[SecretText, ...], Field(strict=False)] = ()
    """E-mail addresses, web addresses and telephone numbers."""
    addresses: Annotated[tuple[SecretText, ...], Field(strict=False)] = ()
    """Postal addresses, their parts cut by commas or lines."""
    orders: dict[str, SecretText] = Field(default_factory=dict)
    """The customer's order number by job."""
    order_token: Annotated[str, Field(pattern="^[0-9a-f]{32}$")] = Field(
        default_factory=_order_token
    )
    """Stands for any order number in what leaves the two parties; random, derived from nothing."""
    words: Annotated[tuple[SecretText, ...], Field(strict=False)] = ()
    """Anything else that gives the customer away: product and recipe names, badge numbers."""
    canary: Annotated[str, Field(min_length=8)] = Field(default_factory=canary)
    """A word planted in the record; where it turns up, the record has leaked."""

    def __repr_args__(self) -> Iterator[tuple[str | None, Any]]:
        """Show the alias alone, in logs, tracebacks and shells."""
        yield "alias", self.alias


@dataclass(frozen=True)
class ForbiddenWord:
    """A text that must not stand in what leaves the shop."""

    what: str
    """What it is, without saying it, for example "name of OTTER"."""
    text: str = field(repr=False)
    piece: int | None = None
    """How many letters of it in a row are a leak as well; None when only the whole is."""


def words_of(identity: Identity, *, own_job: str | None) -> Iterator[ForbiddenWord]:
    """Give the forbidden words that come from one customer.

    Parameters
    ----------
    identity : Identity
        The customer.
    own_job : str or None
        The job whose order number may be shown, for it is the reader's own; None when it may not.

    Yields
    ------
    ForbiddenWord
        Each of them.
    """
    whose = f"of {identity.alias}"
    yield ForbiddenWord("an alias", identity.alias)
    yield ForbiddenWord(f"the canary {whose}", identity.canary, piece=8)
    for name in identity.names:
        yield from _whole_and_parts(f"a name {whose}", name, r"\W+", shortest=5)
    for contact in identity.contacts:
        yield ForbiddenWord(f"a contact {whose}", contact)
        if domain := re.search(r"(?:@|//|www\.)(?:www\.)?([\w-]+)\.", contact):
            yield ForbiddenWord(f"a domain {whose}", domain[1])
    for address in identity.addresses:
        yield from _whole_and_parts(f"an address {whose}", address, r"[,;\n]", shortest=4)
    for job, order in identity.orders.items():
        if job != own_job:
            yield ForbiddenWord(f"an order number {whose}", order, piece=6)
    for word in identity.words:
        yield ForbiddenWord(f"a word {whose}", word)


def _whole_and_parts(what: str, text: str, cut: str, *, shortest: int) -> Iterator[ForbiddenWord]:
    yield ForbiddenWord(what, text)
    parts = [part.strip() for part in re.split(cut, text)]
    for part in parts:
        if part != text and len(part) >= shortest and not _COMMON.fullmatch(part):
            yield ForbiddenWord(f"part of {what}", part)
