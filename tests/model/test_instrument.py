"""Instruments: what a reading is worth on a day, and what a late finding puts in doubt."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.documents import parse_document
from spinproof.model.errors import DocumentError, UnitError
from spinproof.model.instrument import (
    Calibration,
    InstrumentKind,
    InstrumentRecord,
    InterimCheck,
    Standing,
    Tolerance,
    calibration_on,
    range_for,
    standard_uncertainty,
    standing_on,
    suspect_windows,
)
from spinproof.model.quantity import Quantity

TACH = """
id = "OT-3"
kind = "optical tach"
words = "optical tach with its stand"

[[ranges]]
unit = "rpm"
low = 10.0
high = 5000.0
resolution = 0.1
standard_uncertainty = 0.3
relative_uncertainty = 0.0004

[[calibrations]]
at = "2030-04-01"
due = "2031-04-01"
certificate = "C-811"
as_found = "in tolerance"

[[calibrations]]
at = "2031-05-02"
due = "2032-05-01"
certificate = "C-934"
as_found = "in tolerance"
"""
GAUGE = InstrumentRecord(
    id="PG-1",
    kind=InstrumentKind.PRESSURE_GAUGE,
    words="two-range gauge",
    ranges=(
        {"unit": "bar_g", "low": 0, "high": 10, "resolution": 0.1, "standard_uncertainty": 0.05},
        {"unit": "kPa_g", "low": 0, "high": 250, "resolution": 0.1, "standard_uncertainty": 0.2},
    ),
    calibrations=({"at": date(2031, 1, 1), "due": date(2032, 1, 1), "certificate": "C-1"},),
)


def tach() -> InstrumentRecord:
    return parse_document(TACH, InstrumentRecord, "ot-3.instrument.toml")


def rpm(value: float) -> Quantity:
    return Quantity(value=value, unit="rpm")


def with_history(*events: Calibration | InterimCheck) -> InstrumentRecord:
    return InstrumentRecord(
        id="PT-2",
        kind=InstrumentKind.PRESSURE_TRANSDUCER,
        words="transducer",
        calibrations=tuple(e for e in events if isinstance(e, Calibration)),
        checks=tuple(e for e in events if isinstance(e, InterimCheck)),
    )


def calibrated(day: date, found: Tolerance, left: Tolerance = Tolerance.IN) -> Calibration:
    due = day + timedelta(days=365)
    return Calibration(at=day, due=due, certificate=f"of {day}", as_found=found, as_left=left)


@pytest.mark.parametrize(
    ("day", "speed", "standing"),
    [
        (date(2030, 3, 31), 1750, Standing.NOT_CALIBRATED),
        (date(2030, 4, 1), 1750, Standing.VALID),
        (date(2031, 4, 1), 1750, Standing.VALID),  # the due date itself is covered
        (date(2031, 4, 2), 1750, Standing.EXPIRED),
        (date(2031, 5, 2), 1750, Standing.VALID),
        (date(2031, 6, 1), 5, Standing.OUT_OF_RANGE),
        (date(2031, 6, 1), 5000.1, Standing.OUT_OF_RANGE),
        (date(2031, 4, 2), 5, Standing.EXPIRED),
    ],
)
def test_a_reading_is_valid_only_in_calibration_and_in_range(day, speed, standing):
    found = standing_on(tach(), day, rpm(speed))

    assert found is standing
    assert found.supports_a_verdict == (standing is Standing.VALID)


def test_without_a_reading_only_the_calibration_is_looked_at():
    assert standing_on(tach(), date(2031, 6, 1)) is Standing.VALID


def test_a_reading_in_another_unit_is_compared_in_the_range():
    turn = Quantity(value=183.26, unit="rad/s")

    assert standing_on(tach(), date(2031, 6, 1), turn) is Standing.VALID


def test_a_reading_that_the_instrument_cannot_have_made_is_refused():
    with pytest.raises(UnitError, match="measures turning speed, not frequency"):
        standing_on(tach(), date(2031, 6, 1), Quantity(value=29, unit="Hz"))


def test_the_display_of_the_machine_is_never_more_than_an_indication():
    display = tach().model_copy(update={"kind": InstrumentKind.MACHINE_DISPLAY})

    assert standing_on(display, date(2031, 6, 1), rpm(1750)) is Standing.OWN_DISPLAY


def test_counting_by_eye_needs_no_calibration():
    eye = InstrumentRecord(
        id="eye",
        kind=InstrumentKind.COUNTING,
        words="two persons",
        ranges=({"unit": "1", "low": 0, "high": 100, "resolution": 1, "standard_uncertainty": 0},),
    )

    assert standing_on(eye, date(2031, 1, 1), Quantity(value=13, unit="1")) is Standing.VALID


def test_the_finer_of_two_ranges_that_hold_a_reading_is_taken():
    low = range_for(GAUGE, Quantity(value=200, unit="kPa_g"))
    high = range_for(GAUGE, Quantity(value=400, unit="kPa_g"))

    assert low is not None
    assert high is not None
    assert (low.unit, high.unit) == ("kPa_g", "bar_g")


def test_uncertainty_is_given_in_the_unit_of_the_reading():
    uncertainty = standard_uncertainty(GAUGE, Quantity(value=4.0, unit="bar_g"))
    in_kpa = standard_uncertainty(GAUGE, Quantity(value=400, unit="kPa_g"))

    assert uncertainty == Quantity(value=0.05, unit="bar_g")
    assert in_kpa is not None
    assert in_kpa.value == pytest.approx(5.0)


def test_absolute_and_relative_uncertainty_add_in_quadrature():
    uncertainty = standard_uncertainty(tach(), rpm(1000))

    assert uncertainty is not None
    assert uncertainty.value == pytest.approx(0.5)  # 0.3 and 0.4
    assert standard_uncertainty(tach(), rpm(1)) is None


def test_out_of_tolerance_puts_everything_since_the_last_good_check_in_doubt():
    good, bad = date(2031, 3, 1), date(2031, 6, 1)
    instrument = with_history(
        calibrated(date(2030, 3, 1), Tolerance.NOT_STATED),
        calibrated(good, Tolerance.IN),
        calibrated(bad, Tolerance.OUT),
    )

    (window,) = suspect_windows(instrument)

    assert (window.since, window.until) == (good, bad)
    assert window.found_by == "certificate of 2031-06-01"
    assert not window.covers(good - timedelta(days=1))
    assert window.covers(good)
    assert window.covers(bad)
    assert not window.covers(bad + timedelta(days=1))


def test_a_good_interim_check_shortens_the_time_in_doubt():
    instrument = with_history(
        calibrated(date(2031, 3, 1), Tolerance.IN),
        InterimCheck(at=date(2031, 5, 20), found=Tolerance.IN),
        calibrated(date(2031, 6, 1), Tolerance.OUT),
    )

    assert suspect_windows(instrument)[0].since == date(2031, 5, 20)


def test_an_adjustment_counts_as_good_and_a_silent_certificate_does_not():
    adjusted = calibrated(date(2031, 3, 1), Tolerance.OUT)
    silent = calibrated(date(2031, 4, 1), Tolerance.NOT_STATED, Tolerance.NOT_STATED)
    bad = calibrated(date(2031, 6, 1), Tolerance.OUT)

    assert suspect_windows(with_history(adjusted, silent, bad))[-1].since == date(2031, 3, 1)


def test_without_any_good_check_everything_before_is_in_doubt():
    (window,) = suspect_windows(with_history(calibrated(date(2031, 6, 1), Tolerance.OUT)))

    assert window.since is None
    assert window.covers(date(1999, 1, 1))


def test_a_failed_interim_check_lasts_until_the_next_calibration():
    failed, mended = date(2031, 5, 1), date(2031, 5, 10)
    instrument = with_history(
        calibrated(date(2031, 3, 1), Tolerance.IN),
        InterimCheck(at=failed, found=Tolerance.OUT),
        InterimCheck(at=date(2031, 5, 3), found=Tolerance.IN),
        calibrated(mended, Tolerance.OUT),
    )

    assert standing_on(instrument, date(2031, 4, 30)) is Standing.VALID
    assert standing_on(instrument, failed) is Standing.OUT_OF_TOLERANCE
    assert standing_on(instrument, date(2031, 5, 4)) is Standing.OUT_OF_TOLERANCE
    assert standing_on(instrument, mended) is Standing.VALID


def test_a_failed_check_and_a_calibration_on_one_day_leave_a_good_instrument():
    day = date(2031, 5, 1)
    instrument = with_history(
        calibrated(date(2031, 3, 1), Tolerance.IN),
        InterimCheck(at=day, found=Tolerance.OUT),
        calibrated(day, Tolerance.OUT),
    )

    assert standing_on(instrument, day) is Standing.VALID
    assert {w.since for w in suspect_windows(instrument)} == {date(2031, 3, 1)}


def test_an_instrument_left_out_of_tolerance_stays_an_indication():
    instrument = with_history(calibrated(date(2031, 3, 1), Tolerance.OUT, Tolerance.OUT))

    assert standing_on(instrument, date(2031, 3, 2)) is Standing.OUT_OF_TOLERANCE


@given(
    st.lists(
        st.tuples(st.integers(0, 400), st.sampled_from(list(Tolerance))), unique_by=(lambda e: e[0])
    )
)
def test_every_fault_found_has_one_window_that_ends_on_its_day(events):
    history = [
        calibrated(date(2030, 1, 1) + timedelta(days=day), found) for day, found in sorted(events)
    ]
    windows = suspect_windows(with_history(*history))

    faults = [c.at for c in history if c.as_found is Tolerance.OUT]
    assert [window.until for window in windows] == faults
    assert all(window.since is None or window.since < window.until for window in windows)


def test_the_calibration_in_force_is_the_latest_made():
    first, second = tach().calibrations

    assert calibration_on(tach(), date(2031, 5, 1)) == first
    assert calibration_on(tach(), date(2031, 5, 2)) == second


@pytest.mark.parametrize(
    ("before", "after", "words", "line"),
    [
        ('due = "2031-04-01"', 'due = "2030-04-01"', "must lie after the calibration", 14),
        ('at = "2031-05-02"', 'at = "2030-04-01"', "calibrations stand in the order", None),
        ('at = "2031-05-02"', 'at = "May"', "calibrations[2].at is 'May'", 21),
        ("high = 5000.0", "high = 10.0", "must lie above low", 6),
        ('unit = "rpm"', 'unit = "furlong"', 'unit "furlong" is not one of', 7),
        ('kind = "optical tach"', 'kind = "tacho"', "kind is 'tacho'", 3),
    ],
)
def test_a_wrong_file_is_refused_with_line_and_reason(before, after, words, line):
    with pytest.raises(DocumentError) as caught:
        parse_document(TACH.replace(before, after), InstrumentRecord, "ot-3.toml")

    assert words in caught.value.what
    assert caught.value.where == (f"ot-3.toml, line {line}" if line else "ot-3.toml")


def test_an_interim_check_must_say_what_it_found():
    text = TACH + '\n[[checks]]\nat = "2031-06-01"\nfound = "not stated"\n'

    with pytest.raises(DocumentError, match="found must say in tolerance or out"):
        parse_document(text, InstrumentRecord, "ot-3.toml")


def test_an_instrument_survives_a_round_trip():
    assert InstrumentRecord.from_document(tach().to_document()) == tach()
