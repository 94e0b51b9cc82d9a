"""Checks: what an answer is worth, and when a check is passed."""

from datetime import date, timedelta

import pytest
from tests.ledger.floor import HEAD, OTHER, RULES, Floor, good_answer

from spinproof.ledger.measuring import Answered
from spinproof.ledger.rulebook.measurement import suspects
from spinproof.ledger.shop_entries import Deed, MeasurementEntry
from spinproof.ledger.standing import standing_of
from spinproof.model.attestation import AgreedLimit, EvidenceDetail
from spinproof.model.check import Checkpoint, EvidenceKind
from spinproof.model.errors import GateClosedError, RecordError, UnitError
from spinproof.model.instrument import (
    Calibration,
    InstrumentKind,
    InstrumentRecord,
    InterimCheck,
    MeasuringRange,
    Standing,
    Tolerance,
)
from spinproof.model.judgement import Verdict
from spinproof.model.limit import Basis, DecisionRule, Limit
from spinproof.model.matter import MatterKind, Nonconformance
from spinproof.model.quantity import Dimension, Quantity, parse_quantity

BONDING = "largest bonding resistance"
NOW = "2031-05-06"


def ohm(value: float, instrument: str = "low-ohm meter 1", unit: str = "Ohm") -> Answered:
    return Answered(BONDING, Quantity(value=value, unit=unit), instrument=instrument)


def answer(floor: Floor, given: Answered, check: str = "D-02", why: str = "") -> MeasurementEntry:
    deed = Deed(why) if why else None
    return floor.do("TT-1", lambda r: r.answer_reading(HEAD, check, given, deed))


def meter(floor: Floor, name: str, **changes: object) -> None:
    """Record a further low-ohm meter."""
    held = {
        "id": name,
        "kind": InstrumentKind.LOW_OHM_METER,
        "words": "low-ohm meter",
        "ranges": (
            MeasuringRange(
                unit="Ohm", low=0.0, high=1.0, resolution=0.001, standard_uncertainty=0.01
            ),
        ),
        "calibrations": (
            Calibration(at=date(2031, 1, 1), due=date(2032, 1, 1), certificate=f"C-{name}"),
        ),
    } | changes
    floor.do("QI-2", lambda r: r.add_instrument(InstrumentRecord(**held)))


def test_an_answer_holds_unit_uncertainty_instrument_limit_and_rule(bonding: Floor):
    meter(bonding, "LO-2")
    found = answer(bonding, ohm(50, "LO-2", "mOhm"))

    assert (found.value, found.symbol, found.standard_uncertainty) == (
        50,
        "mOhm",
        pytest.approx(10),
    )
    assert found.standing is Standing.VALID
    assert found.limit is not None
    assert (found.limit.upper, found.limit.unit) == (0.1, "Ohm")
    assert found.verdict is Verdict.PASS
    assert found.rule.startswith("guarded by 1.645 u")
    assert found.conformance > 0.999
    assert found.who == "TT-1"


def test_a_value_near_its_limit_is_undecided_and_passes_nothing(bonding: Floor):
    meter(bonding, "LO-2")
    found = answer(bonding, ohm(0.09, "LO-2"))
    answer(bonding, good_answer(RULES.check("D-02").reading("part with the largest value")))
    done = bonding.do("TT-1", lambda r: r.finish_check(HEAD, "D-02"))

    assert found.verdict is Verdict.UNDECIDED
    assert not done.passed
    assert done.reasons == (f"{BONDING}: undecided.",)
    assert bonding.file().of_kind(MatterKind.NONCONFORMANCE) == ()


@pytest.mark.parametrize(
    ("given", "error", "message"),
    [
        (ohm(0.05, unit="mm"), UnitError, "electrical resistance is asked for"),
        (ohm(0.05, "dial gauge 1"), RecordError, "is a dial gauge"),
        (ohm(0.05, "LO-9"), RecordError, "no such instrument"),
        (Answered(BONDING, Quantity(value=1, unit="Ohm")), RecordError, "names no instrument"),
        (Answered(BONDING, yes=True), RecordError, "asks for quantity"),
        (Answered(BONDING, words="fine"), RecordError, "asks for quantity"),
        (Answered("colour", yes=True), RecordError, "no reading"),
    ],
)
def test_an_answer_that_does_not_fit_is_refused_in_words(
    bonding: Floor, given: Answered, error: type[Exception], message: str
):
    with pytest.raises(error, match=message):
        answer(bonding, given)

    assert BONDING not in {m.reading for m in bonding.file().measurements}


def test_a_number_without_a_unit_is_refused_where_it_is_typed():
    with pytest.raises(UnitError, match="unit is missing"):
        parse_quantity("0.05", Dimension.RESISTANCE, where="D-02")


@pytest.mark.parametrize(
    ("changes", "standing"),
    [
        (
            {
                "calibrations": (
                    Calibration(at=date(2030, 1, 1), due=date(2031, 5, 5), certificate="C"),
                )
            },
            Standing.EXPIRED,
        ),
        ({"calibrations": ()}, Standing.NOT_CALIBRATED),
        (
            {
                "ranges": (
                    MeasuringRange(
                        unit="Ohm", low=1.0, high=9.0, resolution=0.1, standard_uncertainty=0.1
                    ),
                )
            },
            Standing.OUT_OF_RANGE,
        ),
        (
            {"kind": InstrumentKind.MACHINE_DISPLAY, "ranges": (), "calibrations": ()},
            Standing.OWN_DISPLAY,
        ),
    ],
)
def test_an_instrument_that_cannot_vouch_gives_an_indication_only(
    bonding: Floor, changes: dict[str, object], standing: Standing
):
    meter(bonding, "LO-2", **changes)
    found = answer(bonding, ohm(0.01, "LO-2"))
    answer(bonding, good_answer(RULES.check("D-02").reading("part with the largest value")))
    done = bonding.do("TT-1", lambda r: r.finish_check(HEAD, "D-02"))

    assert found.standing is standing
    assert found.verdict is Verdict.PASS
    assert not done.passed
    assert "indication only" in done.reasons[0]


def test_a_due_date_corrected_by_its_certificate_makes_the_word_good_again(bonding: Floor):
    expired = Calibration(at=date(2030, 1, 1), due=date(2031, 5, 5), certificate="C-1")
    meter(bonding, "LO-2", calibrations=(expired,))
    answer(bonding, ohm(0.01, "LO-2"))
    answer(bonding, good_answer(RULES.check("D-02").reading("part with the largest value")))
    assert not bonding.do("TT-1", lambda r: r.finish_check(HEAD, "D-02")).passed
    renewed = Calibration(at=date(2031, 5, 1), due=date(2032, 5, 1), certificate="C-2")
    bonding.do("QI-2", lambda r: r.add_calibration("LO-2", renewed))

    assert bonding.do("TT-1", lambda r: r.finish_check(HEAD, "D-02")).passed


def test_a_range_recorded_later_counts_for_what_is_read_from_then_on(bonding: Floor):
    far = MeasuringRange(unit="Ohm", low=5.0, high=10.0, resolution=0.01, standard_uncertainty=0.01)
    near = MeasuringRange(
        unit="Ohm", low=0.0, high=1.0, resolution=0.001, standard_uncertainty=0.001
    )
    expired = Calibration(at=date(2030, 1, 1), due=date(2031, 5, 5), certificate="C-1")
    meter(bonding, "LO-2", ranges=(far,), calibrations=(expired,))
    answer(bonding, ohm(0.01, "LO-2"))
    answer(bonding, good_answer(RULES.check("D-02").reading("part with the largest value")))
    renewed = Calibration(at=date(2031, 5, 1), due=date(2032, 5, 1), certificate="C-2")
    bonding.do("QI-2", lambda r: r.add_calibration("LO-2", renewed))
    held = bonding.do("QI-2", lambda r: r.add_range("LO-2", near))

    assert held.ranges == (far, near)
    before = bonding.do("TT-1", lambda r: r.finish_check(HEAD, "D-02"))
    assert not before.passed
    assert Standing.OUT_OF_RANGE in before.reasons[0]
    again = answer(bonding, ohm(0.01, "LO-2"), why="read again in the range")
    assert (again.standing, again.standard_uncertainty) == (Standing.VALID, 0.001)
    assert bonding.do("TT-1", lambda r: r.finish_check(HEAD, "D-02")).passed
    with pytest.raises(RecordError, match="from 0 to 1 Ohm is on record already"):
        bonding.do("QI-2", lambda r: r.add_range("LO-2", near))
    with bonding.ledger.reading() as records:
        assert records.verify_audit().findings == ()


def test_an_instrument_found_wrong_later_puts_every_job_in_doubt(bonding: Floor):
    bonding.make("D-02")
    assert standing_of(bonding.file(), "D-02").stands
    wrong = InterimCheck(at=date(2031, 5, 6), found=Tolerance.OUT)
    bonding.do("QI-2", lambda r: r.add_calibration("low-ohm meter 1", wrong))

    standing = standing_of(bonding.file(), "D-02")
    assert standing.suspect
    assert "found out of tolerance on 2031-05-06" in standing.reasons[0]
    assert len(suspects(bonding.file())) == 1
    with bonding.ledger.reading() as records:
        assert [m.check for m in records.measured_with("low-ohm meter 1")] == ["D-02"]
    later = InterimCheck(at=date(2031, 6, 1), found=Tolerance.IN)
    with pytest.raises(RecordError, match="in the future"):
        bonding.do("QI-2", lambda r: r.add_calibration("low-ohm meter 1", later))


def test_a_failed_limit_raises_a_nonconformance_once(bonding: Floor):
    bonding.make("D-02", **{BONDING: ohm(0.5)})
    bonding.make("D-02", **{BONDING: ohm(0.6)})

    asked = bonding.file().of_kind(MatterKind.NONCONFORMANCE)
    assert len(asked) == 1
    assert isinstance(asked[0].content, Nonconformance)
    assert (asked[0].content.check, asked[0].content.checkpoint) == ("D-02", Checkpoint.DRY_TEST)
    assert "largest bonding resistance: fail." in asked[0].content.text


def test_a_second_answer_needs_a_reason_and_both_stay(bonding: Floor):
    first = answer(bonding, ohm(0.5))
    with pytest.raises(GateClosedError, match="answered already"):
        answer(bonding, ohm(0.05))
    second = answer(bonding, ohm(0.05), why="leads were not compensated")
    bonding.do("TT-1", lambda r: r.withdraw_reading(HEAD, "D-02", BONDING, "wrong head"))

    with bonding.ledger.reading() as records:
        kept = [m for m in records.measurements(HEAD, "D-02") if m.reading == BONDING]
    assert [(m.value, m.supersedes) for m in kept] == [
        (0.5, None),
        (0.05, first.id),
        (None, second.id),
    ]
    assert kept[1].why == "leads were not compensated"
    with pytest.raises(GateClosedError, match="no answer to take back"):
        bonding.do("TT-1", lambda r: r.withdraw_reading(HEAD, "D-02", BONDING, "again"))


def test_a_check_is_finished_when_every_reading_is_answered(bonding: Floor):
    answer(bonding, ohm(0.05))
    with pytest.raises(GateClosedError, match='"part with the largest value" is not answered'):
        bonding.do("TT-1", lambda r: r.finish_check(HEAD, "D-02"))


def test_a_reading_that_this_head_does_not_have_is_left_out_with_a_reason(floor: Floor):
    strip = "fluoride strip shows nothing"
    done = floor.make("D-01", **{strip: Answered(strip, words="history is known")})

    assert done.passed
    floor.lock()
    with pytest.raises(RecordError, match="asks for yes or no"):
        answer(floor, Answered("lockout holds", words="never mind"), "D-01", why="again")


def test_a_check_asks_for_its_evidence_of_this_head(floor: Floor):
    lock = floor.lock()
    for reading in RULES.check("D-01").readings:
        answer(floor, good_answer(reading), "D-01")
    with pytest.raises(GateClosedError, match="Evidence is missing: a photo of this head"):
        floor.do("TT-1", lambda r: r.finish_check(HEAD, "D-01"))
    photo = floor.evidence("nameplates.jpg", EvidenceKind.PHOTO)
    form = floor.evidence("form.pdf", EvidenceKind.DOCUMENT)
    with pytest.raises(GateClosedError, match="a document of this head"):
        floor.do("TT-1", lambda r: r.finish_check(HEAD, "D-01", Deed("done", (photo,))))
    assert floor.do(
        "TT-1", lambda r: r.finish_check(HEAD, "D-01", Deed("done", (photo, form)))
    ).passed
    floor.unlock(lock)
    other = EvidenceDetail(sha256=photo, shows=EvidenceKind.PHOTO)
    with pytest.raises(GateClosedError, match=f"shows {OTHER}") as caught:
        floor.do("TT-1", lambda r: r.state_fact(other, unit=OTHER))
    assert "R42" in caught.value.mend


def test_checks_come_in_their_order_under_their_lockout(floor: Floor):
    with pytest.raises(GateClosedError, match="D-02 comes after D-01") as caught:
        answer(floor, ohm(0.05))
    assert "made under lockout" in str(caught.value)
    with pytest.raises(GateClosedError, match="Not passed yet: dry test"):
        answer(floor, good_answer(RULES.check("W-01").readings[0]), "W-01")
    with pytest.raises(RecordError, match="no check D-99"):
        answer(floor, ohm(0.05), "D-99")


def agreed(upper: float) -> AgreedLimit:
    limit = Limit(
        metric=BONDING,
        upper=upper,
        unit="Ohm",
        rule=DecisionRule.SIMPLE,
        basis=Basis.CUSTOMER,
        source="letter 4",
    )
    return AgreedLimit(check="D-02", reading=BONDING, limit=limit, approved_by="letter 4")


def test_a_limit_raised_after_the_reading_leaves_the_verdict_as_it_is(bonding: Floor):
    bonding.make("D-02", **{BONDING: ohm(0.5)})
    bonding.state(agreed(1.0), who="QI-2")

    with bonding.ledger.reading() as records:
        kept = [m for m in records.measurements(HEAD, "D-02") if m.reading == BONDING]
    assert [(m.value, m.verdict) for m in kept] == [(0.5, Verdict.FAIL)]
    assert kept[0].limit.upper == 0.1
    standing = standing_of(bonding.file(), "D-02")
    assert not standing.stands
    with pytest.raises(GateClosedError, match="not answered"):
        bonding.do("TT-1", lambda r: r.finish_check(HEAD, "D-02"))
    before_it_was_set = Deed("found on paper", done_at=bonding.clock.now - timedelta(seconds=90))
    found = bonding.do(
        "TT-1", lambda r: r.answer_reading(HEAD, "D-02", ohm(0.5), before_it_was_set)
    )
    assert found.verdict is Verdict.FAIL
    again = answer(bonding, ohm(0.5))
    assert (again.verdict, again.limit.upper) == (Verdict.PASS, 1.0)


def test_what_is_measured_on_a_declined_head_claims_nothing(floor: Floor):
    reading = RULES.check("D-08").readings[0]
    floor.do("TT-1", lambda r: r.answer_reading(OTHER, "D-08", good_answer(reading)))
    with pytest.raises(GateClosedError, match="out of scope"):
        floor.do("TT-1", lambda r: r.finish_check(OTHER, "D-08"))
    with floor.ledger.reading() as records:
        assert len(records.measurements(OTHER)) == 1
        assert records.checks(OTHER) == ()


def test_an_instrument_is_recorded_once_and_calibrated_once_a_day(floor: Floor):
    with pytest.raises(RecordError, match="an instrument of this name"):
        meter(floor, "low-ohm meter 1")
    same = Calibration(at=date(2031, 1, 10), due=date(2032, 1, 10), certificate="again")
    with pytest.raises(RecordError, match="on record already"):
        floor.do("QI-2", lambda r: r.add_calibration("low-ohm meter 1", same))
