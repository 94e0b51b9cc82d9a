"""A shop that is forged again and again, and what its examination says each time."""

import shutil
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tests.demo_files import JOB
from tests.ledger.floor import HEAD
from tests.ledger.forger import MENDED, Forgery, forge
from tests.ledger.insider import head_of, letter

from spinproof.app.doctor import Weight, examine
from spinproof.app.home import Home
from spinproof.files.digest import sha256_of_bytes
from spinproof.ledger import database
from spinproof.ledger.heads import Anchor
from spinproof.ledger.ledger import Ledger, fresh_salt


@dataclass(frozen=True)
class Told:
    """What the examination of a forged shop says."""

    forgery: Forgery
    alone: tuple[str, ...]
    """Without a head from outside."""
    against: tuple[str, ...]
    """With the heads from outside."""
    unproved: tuple[str, ...]
    """What the examination says it cannot show, with the heads from outside."""
    covered: int
    """Rows that the heads from outside vouch for."""

    @property
    def is_beyond(self) -> bool:
        """Whether it touches nothing that a head from outside vouches for, hashes mended."""
        return not self.forgery.told_by and self.forgery.first_row > self.covered

    @property
    def is_right(self) -> bool:
        """Whether it is found and named, or its place is said to be unproved."""
        if self.is_beyond:
            return bool(self.unproved)
        said = self.against if self.forgery.way in MENDED else self.alone
        return self.forgery.is_named(list(said))


class ForgedShop:
    """A shop's home whose ledger is replaced by a forged copy each time."""

    def __init__(self, home: Home, ledger_file: Path) -> None:
        self.home = home
        self.genuine = ledger_file
        self.place = home.root / "ledger.db"
        with opened(ledger_file) as ledger:
            with ledger.reading() as records:
                self.size = records.tree_head().size
            sizes = (self.size // 3, self.size * 2 // 3, self.size * 9 // 10)
            self.outside = tuple(letter(head_of(ledger, size)) for size in sizes)

    def tell(self, way: str, rng: np.random.Generator) -> Told:
        """Forge the shop in some way and examine it."""
        for leftover in self.place.parent.glob("ledger.db*"):
            leftover.unlink()
        shutil.copy(self.genuine, self.place)
        forgery = forge(self.place, way, rng)
        alone, _ = self._examined()
        against, unproved = self._examined(self.outside)
        covered = self.outside[-1].signed.head.size
        return Told(forgery, alone, against, unproved, covered)

    def _examined(
        self, outside: tuple[Anchor, ...] = ()
    ) -> tuple[tuple[str, ...], tuple[str, ...]]:
        with opened(self.place) as ledger:
            found = examine(self.home, ledger, outside)
        wrong = tuple(str(each) for each in found if each.weight is Weight.WRONG)
        notes = tuple(str(each) for each in found if each.weight is Weight.NOTE)
        return wrong, tuple(note for note in notes if "No head" in note or "would show" in note)


def opened(path: Path) -> "closing[Ledger]":
    """Open a ledger as it stands, without looking at its release."""
    return closing(Ledger(database.connect(f"sqlite:///{path}", 5), fresh_salt))


def hold_evidence(home: Home, ledger_file: Path) -> None:
    """Put the files there that a played ledger tells of."""
    with opened(ledger_file) as ledger, ledger.reading() as records:
        for item in records.evidence(JOB.job):
            content = f"{HEAD} {item.name}".encode()
            assert sha256_of_bytes(content) == item.sha256
            (home.evidence / item.sha256).write_bytes(content)


def forgeries(shop: ForgedShop, ways: tuple[str, ...], each: int, seed: int) -> Iterator[Told]:
    """Forge a shop in some ways, so many times each."""
    rng = np.random.default_rng(seed)
    for way in ways:
        for _ in range(each):
            yield shop.tell(way, rng)
