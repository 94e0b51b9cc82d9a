"""Two people on one head at the same time: nothing is lost, and nobody writes over the other."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from tests.ledger.floor import HEAD, RULES, Floor, good_answer, new_tag

from spinproof.ledger.measuring import Answered
from spinproof.ledger.records import Records
from spinproof.ledger.shop_entries import Deed, Piece
from spinproof.ledger.states import FindingState
from spinproof.model.attestation import ClockCheck
from spinproof.model.errors import GateClosedError, SpinproofError
from spinproof.model.matter import Finding, MatterKind
from spinproof.model.part import Provenance, Severity
from spinproof.model.quantity import Quantity

BONDING = "largest bonding resistance"
BOTH = ("TT-1", "TT-2")


def together(floor: Floor, act: Any) -> list[Any]:
    """Let two people do something at once; give what came of each."""
    ready = threading.Barrier(len(BOTH))
    at = floor.clock.tick()

    def do(who: str) -> Any:
        ready.wait()
        try:
            with floor.ledger.transaction(who, at) as records:
                return act(records, who)
        except SpinproofError as error:
            return error

    with ThreadPoolExecutor(len(BOTH)) as pool:
        return list(pool.map(do, BOTH))


def test_two_answers_to_one_reading_are_told_apart(bonding: Floor):
    values = dict(zip(BOTH, (0.02, 0.04), strict=True))

    def answer(records: Records, who: str) -> Any:
        quantity = Quantity(value=values[who], unit="Ohm")
        given = Answered(BONDING, quantity, instrument="low-ohm meter 1")
        return records.answer_reading(HEAD, "D-02", given)

    found = together(bonding, answer)
    refused = [each for each in found if isinstance(each, GateClosedError)]
    stored = [each for each in found if not isinstance(each, Exception)]

    assert len(refused) == len(stored) == 1
    assert "answered already" in refused[0].what
    with bonding.ledger.reading() as records:
        assert [m.value for m in records.measurements(HEAD, "D-02")] == [stored[0].value]
        assert records.verify_audit().broken is None


def test_two_people_answer_different_readings_of_one_check(bonding: Floor):
    readings = dict(zip(BOTH, RULES.check("D-02").readings, strict=True))

    def answer(records: Records, who: str) -> Any:
        return records.answer_reading(HEAD, "D-02", good_answer(readings[who]))

    together(bonding, answer)
    with bonding.ledger.reading() as records:
        found = records.measurements(HEAD, "D-02")
    assert {(m.who, m.reading) for m in found} == {(w, r.name) for w, r in readings.items()}


def test_two_people_put_two_parts_in_one_position_and_one_of_them_is_told(floor: Floor):
    tags = dict(zip(BOTH, (new_tag(HEAD, "VDI", 2), new_tag(HEAD, "VDI", 3)), strict=True))
    new = Provenance.REPLACED_NEW
    for tag in tags.values():
        floor.do("AS-2", lambda r, t=tag: r.add_part("QA-1041", "VDI", Piece(t, "valve"), new))
    floor.lock()
    floor.do("AS-2", lambda r: r.remove_part(HEAD, "VDI", Deed("out")))

    found = together(floor, lambda r, who: r.install_part(HEAD, "VDI", tags[who], Deed("in")))
    refused = [each for each in found if isinstance(each, GateClosedError)]

    assert len(refused) == 1
    assert "sits there" in refused[0].what
    seated = [part.tag for part in floor.file().occupants[HEAD, "VDI"]]
    assert len(seated) == 1
    assert seated[0] in tags.values()


def test_two_people_step_one_finding_and_both_words_are_kept_or_one_is_told(floor: Floor):
    finding = Finding(text="scratch", severity=Severity.COSMETIC)
    name = floor.do("IN-3", lambda r: r.open_matter("QA-1041", finding, unit=HEAD).name)
    settled = FindingState.SETTLED
    found = together(floor, lambda r, who: r.step_matter(name, settled, Deed(f"seen by {who}")))

    refused = [each for each in found if isinstance(each, GateClosedError)]
    assert len(refused) == 1
    assert 'it is "settled" and cannot become "settled"' in refused[0].what
    with floor.ledger.reading() as records:
        assert [s.state for s in records.matter(name).steps] == [FindingState.OPEN, settled]


@pytest.mark.parametrize("writers", [12])
def test_many_people_on_one_head_lose_no_record(floor: Floor, writers: int):
    ready = threading.Barrier(writers)
    at = floor.clock.tick()

    def write(number: int) -> None:
        ready.wait()
        for each in range(3):
            moment = at + timedelta(seconds=each)
            with floor.ledger.transaction(f"W-{number}", moment) as records:
                finding = Finding(text=f"{number}-{each}", severity=Severity.COSMETIC)
                records.open_matter("QA-1041", finding, unit=HEAD)
                clock = ClockCheck(device=f"camera {number}", offset_s=float(each))
                records.state_fact(clock)

    with ThreadPoolExecutor(writers) as pool:
        list(pool.map(write, range(writers)))
    with floor.ledger.reading() as records:
        found = records.matters("QA-1041", MatterKind.FINDING)
        assert records.verify_audit().broken is None
    assert [m.name for m in found] == [f"QA-1041-FND-{n:02d}" for n in range(1, 3 * writers + 1)]
    assert len({m.content.text for m in found}) == 3 * writers
    clocks = [fact for _, fact in floor.file().stated(ClockCheck)]
    assert len(clocks) == 3 * writers
