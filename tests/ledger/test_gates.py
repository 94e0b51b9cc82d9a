"""Gates: what may come next for a head, and what sends it back."""

import json
from datetime import date, timedelta

import pytest
from tests.ledger.floor import HEAD, OTHER, SHARED, Floor, new_tag

from spinproof.ledger.gating import (
    admissible_checks,
    reasons_against,
    reasons_not_to_enter,
    reasons_not_to_run,
    state_in_words,
)
from spinproof.ledger.shop_entries import Action, Deed, Meaning, Piece
from spinproof.ledger.standing import present_checkpoint, standing_of
from spinproof.ledger.states import BypassState, NonconformanceState, WaiverState
from spinproof.model.attestation import HeldPaper
from spinproof.model.check import Checkpoint
from spinproof.model.errors import GateClosedError
from spinproof.model.matter import Bypass, Nonconformance, StepDetail, Waiver
from spinproof.model.part import Disposition, Paper, Provenance, Severity
from spinproof.model.run import Purpose

DRY, WET = Checkpoint.DRY_TEST, Checkpoint.WET_TEST


def sentences(floor: Floor, step) -> list[str]:
    return [str(reason) for reason in reasons_against(floor.file(), step)]


def exchange_valve(floor: Floor, number: int = 2) -> None:
    """Replace the rinse valve under lockout."""
    tag = new_tag(HEAD, "VDI", number)
    new = Provenance.REPLACED_NEW
    floor.do("AS-2", lambda r: r.add_part("QA-1041", "VDI", Piece(tag, "valve"), new))
    lock = floor.lock()
    deed = Deed("valve replaced, its seat was nicked")
    floor.do("AS-2", lambda r: r.replace_part(HEAD, "VDI", tag, deed))
    floor.unlock(lock)


def test_a_new_head_is_asked_for_everything_in_its_order(floor: Floor):
    with pytest.raises(GateClosedError, match="20 checks have not been made"):
        floor.sign(DRY)
    file = floor.file()

    assert state_in_words(file) == "rebuilt"
    assert present_checkpoint(file) is DRY
    assert [check.id for check in admissible_checks(file)] == []
    assert sentences(floor, WET) == [
        "Not passed yet: dry test. (R18)",
        "25 checks have not been made: W-01, W-02, W-03, W-04, W-05, W-06 and 19 more.",
    ]
    assert sentences(floor, Action.ENERGISE) == [
        "D-02 has not been made. (R17)",
        "D-03 has not been made. (R17)",
    ]
    floor.lock()
    assert [check.id for check in admissible_checks(floor.file())] == ["D-01"]


def test_a_gate_is_signed_as_performed_and_verified_by_somebody_else(dry_made: Floor):
    with pytest.raises(GateClosedError, match="nobody signed yet"):
        dry_made.do("QI-2", lambda r: r.sign_gate(HEAD, DRY, Meaning.VERIFIED))
    dry_made.do("AS-2", lambda r: r.sign_gate(HEAD, DRY, Meaning.PERFORMED))
    for who in ("AS-2", "as-2 ", "TT-1"):
        with pytest.raises(GateClosedError, match="cannot verify it"):
            dry_made.do(who, lambda r: r.sign_gate(HEAD, DRY, Meaning.VERIFIED))
    dry_made.do("QI-2", lambda r: r.sign_gate(HEAD, DRY, Meaning.VERIFIED))

    assert state_in_words(dry_made.file()) == "dry test passed"
    assert sentences(dry_made, DRY) == []
    with pytest.raises(GateClosedError, match="passed already"):
        dry_made.sign(DRY)
    with dry_made.ledger.reading() as records:
        assert records.verify_audit().broken is None


def test_a_head_out_of_scope_passes_no_gate(floor: Floor):
    with pytest.raises(GateClosedError, match="out of scope"):
        floor.do("TT-1", lambda r: r.sign_gate(OTHER, DRY, Meaning.PERFORMED))


def test_an_exchanged_valve_sends_the_head_back_to_the_wet_test(wet_floor: Floor):
    assert present_checkpoint(wet_floor.file()) is Checkpoint.FINAL_TEST
    exchange_valve(wet_floor)

    file = wet_floor.file()
    assert present_checkpoint(file) is WET
    found = sentences(wet_floor, WET)
    assert f"{new_tag(HEAD, 'VDI', 2)} (replaced with new) lacks its certificate" in found[0]
    assert [s[:4] for s in found[1:]] == ["W-03", "W-07", "W-08", "W-09", "W-23", "W-24"]
    assert all("(R11)" in sentence for sentence in found[1:])
    assert standing_of(file, "W-15").stands


def test_a_repaired_head_passes_its_gate_again_by_a_new_signature(wet_floor: Floor):
    exchange_valve(wet_floor)
    paper = HeldPaper(tag=new_tag(HEAD, "VDI", 2), paper=Paper.CERTIFICATE)
    wet_floor.state(paper)
    wet_floor.make_all(WET)
    assert sentences(wet_floor, WET) == ["The wet test can be passed now, and is not signed yet."]
    before = wet_floor.clock.now - timedelta(minutes=5)
    with pytest.raises(GateClosedError, match="which it covers, was made"):
        wet_floor.do("TT-1", lambda r: r.sign_gate(HEAD, WET, Meaning.PERFORMED, dated=before))
    wet_floor.sign(WET)

    assert sentences(wet_floor, WET) == []
    assert len([s for s in wet_floor.file().signatures if s.checkpoint is WET]) == 4


def test_a_part_of_the_shared_module_sends_every_head_back(wet_floor: Floor):
    tag = new_tag(SHARED, "SDR", 2)
    add = Provenance.REPAIRED
    wet_floor.do("AS-2", lambda r: r.add_part("QA-1041", "SDR", Piece(tag, "trap"), add))
    wet_floor.lock()
    wet_floor.do("AS-2", lambda r: r.replace_part(SHARED, "SDR", tag, Deed("trap replaced")))

    assert present_checkpoint(wet_floor.file()) is WET
    assert any("trap replaced" in sentence for sentence in sentences(wet_floor, WET))


def take_out_and_put_back(floor: Floor, position: str) -> None:
    """Give a position its own part again: no exchange, and yet it was opened."""
    own = floor.do("AS-2", lambda r: r.parts_by_position(HEAD)[position])
    lock = floor.lock()
    floor.do("AS-2", lambda r: r.remove_part(HEAD, position, Deed("taken out")))
    floor.do("AS-2", lambda r: r.install_part(HEAD, position, own, Deed("put back")))
    floor.unlock(lock)


def test_a_window_sends_the_head_back_to_the_dry_test_and_keeps_the_rest(wet_floor: Floor):
    take_out_and_put_back(wet_floor, "WIN")

    assert present_checkpoint(wet_floor.file()) is DRY
    assert [s[:4] for s in sentences(wet_floor, DRY)] == ["D-20"]


def test_a_bridged_interlock_closes_everything_until_it_is_removed(wet_floor: Floor):
    bridge = wet_floor.do(
        "PR-1",
        lambda r: r.open_matter("QA-1041", Bypass(interlock="door switch", why="film"), unit=HEAD),
    )
    for step in (Checkpoint.FINAL_TEST, Action.ENERGISE, Action.SPIN, Action.TURN, Action.SHIP):
        if step is not Action.ENERGISE:
            assert any("bridged" in sentence for sentence in sentences(wet_floor, step))
    reasons = reasons_not_to_run(wet_floor.file(), Purpose.TRIAL, 200.0)
    assert any("door switch" in reason.text for reason in reasons)
    removed = BypassState.REMOVED
    wet_floor.do("PR-1", lambda r: r.step_matter(bridge.name, removed, Deed("wire taken out")))

    assert reasons_not_to_enter(wet_floor.file(), Action.SPIN) == ()


def step_through(floor: Floor, name: str, *steps: tuple[str, NonconformanceState]) -> None:
    detail = StepDetail(disposition=Disposition.REWORK, cause="a weld bead in the line")
    for who, state in steps:
        floor.do(who, lambda r, s=state: r.step_matter(name, s, Deed("done"), detail))


def test_a_grave_nonconformance_is_closed_before_a_gate_is_passed(dry_made: Floor):
    about = Nonconformance(text="seat nicked", severity=Severity.FUNCTION, position="VDI")
    matter = dry_made.do("TT-1", lambda r: r.open_matter("QA-1041", about, unit=HEAD))
    assert sentences(dry_made, DRY) == [
        f"{matter.name} is open, and neither closed nor waived. (R21)"
    ]
    state = NonconformanceState
    step_through(
        dry_made,
        matter.name,
        ("TT-1", state.CONTAINED),
        ("QI-2", state.DISPOSITIONED),
        ("AS-2", state.ACTIONED),
    )
    with pytest.raises(GateClosedError, match="AS-2 did the work"):
        step_through(dry_made, matter.name, ("AS-2", state.VERIFIED))
    step_through(dry_made, matter.name, ("TT-1", state.VERIFIED), ("QI-2", state.CLOSED))

    dry_made.sign(DRY)
    step_through(dry_made, matter.name, ("QI-2", state.OPEN))
    assert sentences(dry_made, DRY) == []
    assert any(matter.name in sentence for sentence in sentences(dry_made, WET))


def test_a_waived_check_is_left_out_by_name_until_the_waiver_ends(dry_made: Floor):
    floor = dry_made
    content = Waiver(
        subject="D-14", why="no torque wrench in this size", risk="it may creep", until=None
    )
    waiver = floor.do("TT-1", lambda r: r.open_matter("QA-1041", content, unit=HEAD))
    state = WaiverState
    with pytest.raises(GateClosedError, match="TT-1 asked for it"):
        floor.do("TT-1", lambda r: r.step_matter(waiver.name, state.APPROVED_BY_SHOP, Deed("ok")))
    floor.do("OW-1", lambda r: r.step_matter(waiver.name, state.APPROVED_BY_SHOP, Deed("ok")))
    with pytest.raises(GateClosedError, match="customer's approval is missing"):
        floor.do("OW-1", lambda r: r.step_matter(waiver.name, state.IN_FORCE, Deed("by phone")))
    letter = StepDetail(token=f"letter {4}")
    floor.do("OW-1", lambda r: r.step_matter(waiver.name, state.IN_FORCE, Deed("ok"), letter))
    take_out_and_put_back(floor, "TAC")
    floor.make("D-19")
    floor.sign(DRY)

    assert sentences(floor, DRY) == []
    assert floor.file().signatures[-1].waivers == (waiver.name,)
    floor.do("OW-1", lambda r: r.step_matter(waiver.name, state.WITHDRAWN, Deed("wrench bought")))
    assert [s[:4] for s in sentences(floor, DRY)] == ["D-14"]


def test_what_was_signed_before_a_record_changed_is_signed_again(dry_made: Floor):
    dry_made.do("AS-2", lambda r: r.sign_gate(HEAD, DRY, Meaning.PERFORMED))
    dry_made.make("D-16")
    with pytest.raises(GateClosedError, match="nobody signed yet"):
        dry_made.do("QI-2", lambda r: r.sign_gate(HEAD, DRY, Meaning.VERIFIED))


def test_the_trail_tells_what_a_signature_covers(floor: Floor):
    with floor.ledger.reading() as records:
        told = records.audit(f"gate {Checkpoint.BUILD} of {HEAD}")

    assert [entry.act for entry in told] == ["gate.sign", "gate.sign"]
    assert json.loads(told[-1].after)["meaning"] == "verified"
    assert date.fromisoformat(told[-1].at[:10]) == date(2031, 5, 6)
