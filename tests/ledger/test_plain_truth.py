"""What the random lives look for is found when a rule of the ledger is switched off."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD
from tests.ledger.floor import (
    HEAD,
    RULES,
    START,
    Floor,
    Stages,
    add_expired_instruments,
    good_answer,
    new_tag,
    record_everything,
)
from tests.ledger.plain_truth import faults, faults_of_a_start

from spinproof.ledger.ledger import open_ledger
from spinproof.ledger.rulebook import book
from spinproof.ledger.shop_entries import Deed, Meaning, Piece
from spinproof.model.check import Checkpoint
from spinproof.model.errors import SpinproofError
from spinproof.model.matter import Bypass, Nonconformance
from spinproof.model.part import Provenance, Severity
from spinproof.model.run import Purpose

DRY = Checkpoint.DRY_TEST


@pytest.fixture
def at_stage(stages: Stages, tmp_path: Path) -> Iterator[Callable[[str], Floor]]:
    opened = []

    def at(stage: str) -> Floor:
        path = tmp_path / f"{len(opened)}.db"
        shutil.copy(stages.file(stage), path)
        opened.append(open_ledger(f"sqlite:///{path}", at=START))
        return Floor(opened[-1])

    yield at
    for ledger in opened:
        ledger.close()


def sign_by_oneself(floor: Floor) -> None:
    floor.sign(DRY, "TT-1", "TT-1")


def sign_over_a_nonconformance(floor: Floor) -> None:
    grave = Nonconformance(text="seat nicked", severity=Severity.SAFETY)
    floor.do("TT-1", lambda r: r.open_matter("QA-1041", grave, unit=HEAD))
    floor.sign(DRY)


def tear_down_before_it_is_received(floor: Floor) -> None:
    floor.do("TD-2", lambda r: record_everything(r, HEAD))
    floor.do("TD-2", lambda r: r.sign_gate(HEAD, Checkpoint.TEARDOWN, Meaning.PERFORMED))


def fit(code: str, floor: Floor) -> None:
    tag = new_tag(HEAD, code, 2)
    new = Provenance.REPLACED_NEW
    floor.do("AS-2", lambda r: r.add_part("QA-1041", code, Piece(tag, code), new))
    floor.do("AS-2", lambda r: r.replace_part(HEAD, code, tag, Deed("exchanged")))


def fit_what_was_declined(floor: Floor) -> None:
    floor.lock()
    fit("WIN", floor)


def fit_without_a_lock(floor: Floor) -> None:
    fit("VDI", floor)


def use_an_expired_instrument(floor: Floor) -> None:
    add_expired_instruments(floor)
    check = RULES.check("D-10")
    answers = {r.name: good_answer(r) for r in check.readings}
    old = {n: replace(a, instrument="dial gauge 2") for n, a in answers.items() if a.instrument}
    floor.make("D-10", **(answers | old))


def start(floor: Floor, purpose: Purpose = Purpose.TRIAL) -> None:
    against = faults_of_a_start(floor.file(), counting=purpose is Purpose.BURN_IN)
    floor.do(
        "TT-1",
        lambda r: r.start_run(HEAD, purpose=purpose, recipe=CR_1, load=PARTIAL_LOAD, spec=LOWER),
    )
    assert against == [], against


def turn_bridged(floor: Floor) -> None:
    bridge = Bypass(interlock="door switch", why="film")
    floor.do("TT-1", lambda r: r.open_matter("QA-1041", bridge, unit=HEAD))
    start(floor)


def turn_unbalanced(floor: Floor) -> None:
    lock = floor.lock()
    fit("RTR", floor)
    floor.unlock(lock)
    start(floor)


LEDGER = "spinproof.ledger"
TEMPTATIONS = [
    ("R18", None, "taken in", tear_down_before_it_is_received),
    ("R15", f"{LEDGER}.gates._require_performed", "dry made", sign_by_oneself),
    ("R21", None, "dry made", sign_over_a_nonconformance),
    ("R08", f"{LEDGER}.parts.PartRecords._ask_about_scope", "dry", fit_what_was_declined),
    ("R37", None, "dry", fit_without_a_lock),
    ("R24", f"{LEDGER}.checks._against", "dry", use_an_expired_instrument),
    ("R20", None, "wet", turn_bridged),
    ("R18 R19", None, "wet", turn_unbalanced),
]
"""Rules, what else guards the same, the stage, and what somebody tries."""


def found_after(floor: Floor, temptation: Callable[[Floor], None]) -> list[str]:
    try:
        with suppress(SpinproofError):
            temptation(floor)
    except AssertionError as found:
        return [str(found)]
    return faults(floor.file())


@pytest.mark.parametrize(("rules", "guard", "stage", "temptation"), TEMPTATIONS)
def test_what_a_rule_prevents_is_found_without_it(
    rules: str,
    guard: str | None,
    stage: str,
    temptation: Callable[[Floor], None],
    at_stage: Callable[[str], Floor],
    monkeypatch: pytest.MonkeyPatch,
):
    assert found_after(at_stage(stage), temptation) == []

    off = tuple(replace(r, check=lambda *_: ()) if r.id in rules else r for r in book.RULES)
    monkeypatch.setattr(book, "RULES", off)
    if guard is not None:
        monkeypatch.setattr(guard, lambda *_: ())
    assert found_after(at_stage(stage), temptation) != []
