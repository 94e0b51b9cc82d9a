"""How the speed followed the recipe, and what counts as evidence for it."""

import numpy as np
import pytest
from tests.demo_files import CR_1
from tests.judge.traces import Scene, judged, make_trace

from spinproof.judge.speed_metrics import programmed_dose
from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.judgement import Verdict
from spinproof.model.recipe import TimerBasis
from spinproof.model.run import Outcome
from spinproof.model.trace import Signal


def test_a_good_run_is_measured_as_it_was_made():
    found = judged(make_trace())

    assert found.metric("hold_speed", 3).value == pytest.approx(1750, rel=1e-5)
    assert found.metric("ramp_rate", 3).value == pytest.approx(50, rel=2e-3)
    assert found.metric("ramp_rate", 4).value == pytest.approx(-50, rel=2e-3)
    assert found.metric("overshoot", 3).value == pytest.approx(0, abs=0.02)
    assert found.metric("settling_time", 3).value == pytest.approx(0, abs=0.05)
    assert found.metric("dose_error").value == pytest.approx(0, abs=0.05)
    assert found.metric("ramp_error", 2) is None, "the purge has no ramp"


def test_a_true_speed_two_percent_high_fails_though_the_display_agrees_with_the_set_point():
    found = judged(make_trace(Scene(speed_factor=1.02)))

    assert found.metric("speed_error", 3).value == pytest.approx(2.0, abs=0.01)
    assert found.metric("speed_error", 3).verdict is Verdict.FAIL
    assert found.metric("display_agreement").value == pytest.approx(-1.96, abs=0.02)
    assert found.metric("dose_error").value == pytest.approx(4.04, abs=0.1)


def test_the_dose_of_a_recipe_is_the_sum_of_ramps_and_holds():
    """Each ramp t (a² + ab + b²)/3, each hold t b², in (rpm · π/30)² s."""
    squares = (
        9 * 450**2 / 3
        + 36 * 450**2
        + 15 * 450**2
        + 26 * (450**2 + 450 * 1750 + 1750**2) / 3
        + 94 * 1750**2
        + 13 * (1750**2 + 1750 * 1100 + 1100**2) / 3
        + 187 * 1100**2
    )
    assert programmed_dose(CR_1) == pytest.approx(squares * (np.pi / 30) ** 2, rel=1e-12)


def test_ramps_that_come_on_top_add_to_the_dose():
    steps = tuple(
        s.model_copy(update={"timer_basis": TimerBasis.FROM_AT_SPEED}) for s in CR_1.steps
    )
    longer = CR_1.model_copy(update={"steps": steps})
    more = (9 * 450**2 + 26 * 1750**2 + 13 * 1100**2) * (np.pi / 30) ** 2

    assert programmed_dose(longer) - programmed_dose(CR_1) == pytest.approx(more, rel=1e-9)


def test_the_display_alone_is_no_evidence_for_speed():
    tachs = (Role.TACH_COUNT, Role.TACH_EDGE, Role.OPTICAL_COUNT, Role.OPTICAL_EDGE)
    found = judged(make_trace(without=tachs))
    speed = found.metric("speed_error", 3)

    assert speed.verdict is Verdict.NOT_MEASURED
    assert speed.note == "the head's own display is never the sole evidence for speed"
    assert found.outcome is Outcome.RELEVANT_FAILURE


def test_without_an_optical_tach_the_head_s_own_is_taken_but_nothing_compares_it():
    found = judged(make_trace(without=(Role.OPTICAL_COUNT, Role.OPTICAL_EDGE)))

    assert found.metric("speed_error", 3).verdict is Verdict.PASS
    assert found.metric("tach_agreement").verdict is Verdict.NOT_MEASURED


def test_pulse_counts_without_edge_times_still_give_a_speed_only_less_sharp():
    sharp = judged(make_trace()).metric("hold_speed", 3)
    blunt = judged(make_trace(without=(Role.OPTICAL_EDGE,))).metric("hold_speed", 3)

    assert blunt.value == pytest.approx(1750, rel=1e-3)
    assert blunt.uncertainty > sharp.uncertainty


def test_a_speed_that_another_instrument_computed_is_evidence():
    tachs = (Role.TACH_COUNT, Role.TACH_EDGE, Role.OPTICAL_COUNT, Role.OPTICAL_EDGE)
    trace = make_trace(without=tachs)
    shown = trace.signals["display speed"]
    channel = Channel(
        name="logged speed",
        role=Role.SPEED,
        first_register=30,
        type=CountType.F64,
        unit="rpm",
        sample_rate_hz=20.0,
        instrument=Instrument(name="logger", standard_uncertainty=1.0),
    )
    logged = Signal(channel, shown.time_s, shown.counts.astype(float))
    trace = type(trace)(
        trace.header, {**trace.signals, "logged speed": logged}, (), trace.ending, trace.sha256
    )
    found = judged(trace)

    assert found.metric("hold_speed", 3).value == pytest.approx(1750, abs=0.5)
    assert found.metric("speed_error", 3).verdict is Verdict.PASS


def test_an_optical_tach_that_dies_in_mid_step_leaves_time_at_speed_missing():
    def die(values, time):
        dead = time > 300
        for name in ("optical tach", "optical tach edge"):
            values[name][dead] = values[name][dead][0]

    found = judged(make_trace(bend=die))

    assert found.metric("time_at_speed_shortfall", 4).value == pytest.approx(84.5, abs=1)
    assert found.outcome is Outcome.RELEVANT_FAILURE


def test_a_step_whose_speed_is_never_reached_has_not_settled():
    def slow_optical(values, time):
        values["optical tach edge"] *= 1.03

    found = judged(make_trace(bend=slow_optical))

    assert found.metric("settling_time", 3).verdict is Verdict.FAIL
    assert found.metric("speed_error", 3).verdict is Verdict.FAIL
