"""The stop sequence: a table of traces that each break one rule."""

import numpy as np
import pytest
from tests.demo_files import LOWER
from tests.judge.traces import Scene, judged, make_trace

from spinproof.judge.door import turning_inertia
from spinproof.judge.stop_sequence import Moment
from spinproof.model.judgement import Verdict
from spinproof.model.load import Load, spread_slots
from spinproof.model.registers import Status
from spinproof.model.run import Outcome


def test_a_good_stop_passes_in_every_metric():
    found = judged(make_trace())

    assert found.metric("coast_time").value == pytest.approx(54.78, abs=0.1)
    assert found.metric("index_time").value == pytest.approx(1.8, abs=0.15)
    assert found.metric("vent_time").value == pytest.approx(1.9, abs=0.05)
    assert found.metric("release_speed").value < 10
    assert found.metric("door_order_breaches").note == (
        "slow, indexed, vented, released, in that order"
    )
    names = [event.name for event in found.events]
    assert names == [
        "start",
        "step 2 entered",
        "step 3 entered",
        "step 4 entered",
        "stop command",
        "below index enable",
        "positioner out",
        "index proven",
        "vent command",
        "seal vented",
        "door released",
        "door opened",
    ]


@pytest.mark.parametrize(
    ("scene", "words"),
    [
        (Scene(stop_rpm=198.0), "the positioner moved out at 198 rpm"),
        (Scene(vent_delay_s=-0.7), "the seal was told to vent 0.70 s before the index"),
        (Scene(release_delay_s=-0.6), "the door was released 0.61 s before the seal was vented"),
        (Scene(release_delay_s=-3.0), "the door was released 1.10 s before the index was proven"),
        (Scene(open_delay_s=-0.2), "the door was opened 0.20 s before the door was released"),
    ],
)
def test_what_comes_out_of_order_is_a_breach_with_its_seconds(scene, words):
    found = judged(make_trace(scene))
    order = found.metric("door_order_breaches")

    assert order.verdict is Verdict.FAIL
    assert words in order.note
    assert found.outcome is Outcome.RELEVANT_FAILURE


def test_what_falls_into_one_sample_is_undecided_and_not_counted():
    found = judged(make_trace(Scene(release_delay_s=0.04)))
    order = found.metric("door_order_breaches")

    assert order.verdict is Verdict.UNDECIDED
    assert "cannot tell the order" in order.note
    assert found.outcome is Outcome.RELEVANT_FAILURE


def test_a_door_released_under_pressure_fails_by_its_last_reading():
    """Released 0.6 s before 5 kPa, and read up to a sample earlier: 5 kPa · 34.8^(0.6/1.9)."""
    found = judged(make_trace(Scene(release_delay_s=-0.6))).metric("release_pressure")

    assert 15.3 <= found.value <= 16.9
    assert found.verdict is Verdict.FAIL


def test_a_rotor_that_is_never_indexed_fails_while_the_door_stays_locked():
    found = judged(make_trace(Scene(is_indexed=False, own_lost_below_rpm=83.8)))
    index = found.metric("index_time")

    assert index.verdict is Verdict.FAIL
    assert "the last pulse of the head's tach was seen at 84 rpm" in index.note
    assert "above the index enable speed of 40 rpm" in index.note
    assert index.note.endswith("the door stayed locked")
    assert found.metric("door_order_breaches").note == "the door stayed locked"
    assert found.metric("door_order_breaches").verdict is Verdict.PASS
    assert found.metric("release_speed").verdict is Verdict.NOT_MEASURED


def test_tachs_that_die_in_the_coast_bound_no_speed_at_the_release():
    """A tach that stopped seeing pulses looks like a rotor at rest: the dangerous mistake."""
    found = judged(
        make_trace(Scene(own_lost_below_rpm=700.0, optical_lost_after_stop_s=12.0))
    ).metric("release_speed")

    assert found.verdict is Verdict.NOT_MEASURED
    assert found.note == "no tach was readable until the rotor was slow"


def test_one_readable_tach_is_enough_to_bound_the_speed():
    found = judged(make_trace(Scene(own_lost_below_rpm=700.0))).metric("release_speed")

    assert found.verdict is Verdict.PASS


def test_a_coast_that_is_too_short_fails_against_the_closed_form():
    """The positioner grips at 300 rpm, and the rotor is below 40 rpm at once."""
    found = judged(make_trace(Scene(stop_rpm=300.0))).metric("coast_time_error")

    assert found.value == pytest.approx(-30, abs=3)
    assert found.verdict is Verdict.FAIL


def test_wafers_add_to_the_inertia_by_their_own_and_by_their_distance():
    load = Load(name="25", slots=spread_slots(25, 25), wafer_mass_g=53.05)
    far = LOWER.model_copy(update={"wafer_edge_radius_m": 0.25})

    assert turning_inertia(LOWER, load) - LOWER.inertia_kg_m2 == pytest.approx(
        25 * 0.05305 * 0.2**2 / 8
    )
    assert turning_inertia(far, load) - turning_inertia(LOWER, load) == pytest.approx(
        25 * 0.05305 * 0.15**2
    )


@pytest.mark.parametrize("gap", np.linspace(-0.3, 0.3, 13))
def test_order_is_claimed_only_beyond_both_errors(gap):
    first, second = Moment(10.0, 0.05), Moment(10.0 + gap, 0.05)

    assert first.is_before(second) == (gap > 0.1 + 1e-9)
    assert not (first.is_before(second) and second.is_before(first))


def set_bits(flag, *, on, when):
    def bend(values, time):
        bits = values["status"].astype(int)
        chosen = when(time)
        bits[chosen] = bits[chosen] | int(flag) if on else bits[chosen] & ~int(flag)
        values["status"] = bits.astype(float)

    return bend


@pytest.mark.parametrize(
    ("bend", "words"),
    [
        (
            set_bits(Status.DOOR_LOCKED, on=False, when=lambda t: t >= 0),
            "without a closed and locked",
        ),
        (
            set_bits(Status.DOOR_CLOSED, on=False, when=lambda t: t >= 0),
            "without a closed and lock",
        ),
        (
            set_bits(Status.DOOR_LOCKED, on=False, when=lambda t: (t > 100) & (t < 101)),
            "the door was released 341.",
        ),
        (set_bits(Status.MOTOR_ENABLED, on=True, when=lambda t: t > 420), "enabled again at 420.0"),
    ],
)
def test_a_driven_rotor_without_a_locked_door_is_a_breach(bend, words):
    found = judged(make_trace(bend=bend))

    assert words in found.metric("door_order_breaches").note
    assert found.outcome is Outcome.RELEVANT_FAILURE


def test_a_door_that_was_never_locked_is_not_said_to_have_stayed_so():
    never = set_bits(Status.DOOR_LOCKED, on=False, when=lambda t: t >= 0)
    found = judged(make_trace(bend=never))

    assert found.metric("release_speed").note == "no release was seen: the door was never locked"
