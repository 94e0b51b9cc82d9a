"""What the pages of a job's parts and of their labels may show."""

from dataclasses import dataclass
from datetime import date

from spinproof.app.part_views import evidence_of, free_tag, seat_words
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.shop_entries import PartEntry
from spinproof.ledger.states import PART


@dataclass(frozen=True)
class Stock:
    """The parts of a job, wherever they are."""

    parts: tuple[tuple[PartEntry, str], ...]
    """Each with where it is."""
    codes: tuple[str, ...]
    """Positions of the shop's rules, each as code and name; empty when no parts are kept."""
    evidence: tuple[str, ...]


@dataclass(frozen=True)
class Label:
    """What stands on the label of a part."""

    tag: str
    code: str
    words: str
    serial: str | None
    seat: str
    """Where it sits, or what it is in."""


def stock_of(ledger: Ledger, job: str) -> Stock:
    """Give the parts of a job, wherever they are."""
    with ledger.reading() as records:
        rules = records.shop_rules(job)
        return Stock(
            parts=tuple((part, seat_words(part)) for part in records.parts(job)),
            codes=tuple(f"{p.code} {p.name}" for p in rules.positions.positions) if rules else (),
            evidence=evidence_of(records, job),
        )


def labels_of(ledger: Ledger, job: str, unit: str | None = None) -> tuple[Label, ...]:
    """Give the labels of all parts of a job that are still in use, those of one unit when asked."""
    with ledger.reading() as records:
        return tuple(
            Label(part.tag, part.code, part.words, part.serial, seat_words(part))
            for part in records.parts(job)
            if PART[part.now.state] and (unit is None or part.now.unit == unit)
        )


def new_labels_of(ledger: Ledger, unit: str, today: date) -> tuple[Label, ...]:
    """Give labels with new tags for the positions of a unit where nothing is recorded yet."""
    with ledger.reading() as records:
        file = records.head_file(unit, today)
        tags = records.tags()
    file.require_rules()
    return tuple(
        Label(free_tag(unit, place.code, tags), place.code, place.name, None, f"for {unit}")
        for place in file.positions
        if not file.steps_at(place.code) and file.vacancy(place.code) is None
    )
