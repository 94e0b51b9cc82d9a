"""Steps as the trace shows them, and how each kept its time by its own timer basis."""

import numpy as np
import pytest
from tests.demo_files import CR_1
from tests.judge.traces import START_S, Scene, judged, make_trace

from spinproof.model.channel import Role
from spinproof.model.judgement import Verdict
from spinproof.model.recipe import TimerBasis


def with_basis(basis: TimerBasis):
    steps = tuple(step.model_copy(update={"timer_basis": basis}) for step in CR_1.steps)
    return CR_1.model_copy(update={"steps": steps})


def test_steps_are_cut_where_the_controller_changes_its_step():
    found = judged(make_trace())

    assert [s.name for s in found.segments] == ["rinse", "purge", "fast dry", "final dry"]
    assert [s.end_s - s.start_s for s in found.segments] == pytest.approx([45, 15, 120, 200])
    assert found.segments[0].start_s == pytest.approx(START_S, abs=0.05)


@pytest.mark.parametrize("basis", list(TimerBasis))
def test_a_full_step_has_no_error_by_either_timer_basis(basis):
    """From command the ramp is inside the time; from at-speed it comes on top."""
    recipe = with_basis(basis)
    found = judged(make_trace(Scene(recipe=recipe)))

    for step in (1, 3, 4):
        error = found.metric("step_duration_error", step)
        shortfall = found.metric("time_at_speed_shortfall", step)
        assert error.value == pytest.approx(0, abs=0.4)
        assert error.verdict is Verdict.PASS
        assert shortfall.verdict is Verdict.PASS


def test_a_recipe_from_command_that_is_judged_from_at_speed_lacks_its_ramps():
    trace = make_trace(Scene(recipe=CR_1))
    found = judged(trace, with_basis(TimerBasis.FROM_AT_SPEED))

    assert found.metric("step_duration_error", 3).value == pytest.approx(-25.65, abs=0.1)
    assert found.metric("step_duration_error", 3).verdict is Verdict.FAIL


def test_each_edge_of_a_step_is_known_to_a_sample():
    """Two edges, each within one period of 0.05 s: a triangle, 0.05/√6."""
    found = judged(make_trace())

    assert found.metric("step_duration_error", 2).uncertainty == pytest.approx(0.0204, abs=1e-4)


def test_a_gap_over_a_step_s_edge_widens_its_uncertainty_until_nothing_is_decided():
    """The purge ends somewhere in a hole of 4 s."""
    edge = Scene().times()["step 3"]
    found = judged(make_trace(keep=lambda time: np.abs(time - edge) > 2))
    purge = found.metric("step_duration_error", 2)

    assert purge.uncertainty > 0.8
    assert purge.verdict is Verdict.UNDECIDED


def test_a_step_that_ended_early_is_told_with_its_seconds():
    found = judged(make_trace(Scene(end_early_s={4: 40.0})))

    assert found.reasons[0] == "step 4, final dry: ended 40.0 s early: 160.0 s of 200.0 s"
    assert found.metric("time_at_speed_shortfall", 4).value == pytest.approx(39.8, abs=0.1)


def test_without_a_step_channel_no_step_is_measured_and_nothing_passes():
    found = judged(make_trace(without=(Role.STEP,)))

    assert found.segments == ()
    assert found.metric("step_duration_error", 1).verdict is Verdict.NOT_MEASURED
    assert "no channel says which step" in found.metric("step_duration_error", 1).note


def test_a_trace_that_begins_inside_a_step_cannot_tell_that_step_s_time():
    found = judged(make_trace(keep=lambda time: time > 30))
    rinse = found.metric("step_duration_error", 1)

    assert rinse.value is None
    assert "both the start and the end" in rinse.note
