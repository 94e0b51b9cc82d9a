"""What becomes of a run, and the words for it."""

import numpy as np
import pytest
from tests.demo_files import CR_1, LIMITS, UPPER, UPPER_CHANNELS
from tests.judge.traces import Scene, judged, make_trace

from spinproof.model.load import Load
from spinproof.model.registers import Status
from spinproof.model.run import Ending, Incident, IncidentKind, Outcome


def press_at(moment):
    def press(values, time):
        bits = values["status"].astype(int)
        bits[(time >= moment) & (time < moment + 0.5)] |= int(Status.STOP_PRESSED)
        values["status"] = bits.astype(float)

    return press


def test_a_good_run_counts_and_says_what_was_found_in_order():
    found = judged(make_trace())

    assert found.outcome is Outcome.COUNTED
    assert found.reasons[0].startswith("all 4 steps held their time: 45.0 s of 45.0 s")
    assert found.reasons[2] == "stop sequence: slow, indexed, vented, released, in that order"
    assert found.outside_cause is None


def test_a_pressed_stop_makes_a_run_invalid_and_nothing_else():
    found = judged(make_trace(bend=press_at(100.0)))

    assert found.outcome is Outcome.INVALID_OPERATOR
    assert found.reasons == ("stop was pressed at 100.0 s, during step 3, fast dry",)


def test_a_pressed_stop_excuses_no_failure_that_came_before_it():
    def both(values, time):
        press_at(300.0)(values, time)
        values["vibration"][(time > 60) & (time < 190)] = 9.0

    found = judged(make_trace(bend=both))

    assert found.outcome is Outcome.RELEVANT_FAILURE
    assert found.reasons[0].startswith("step 3, fast dry: vibration 9 mm/s")
    assert found.reasons[-1].endswith("which excuses none of this")


def test_a_pressed_stop_excuses_no_door_out_of_order():
    found = judged(make_trace(Scene(release_delay_s=-3.0), press_at(100.0)))

    assert found.outcome is Outcome.RELEVANT_FAILURE
    assert any("order of the stop sequence broken" in reason for reason in found.reasons)


@pytest.mark.parametrize(
    ("ending", "words"),
    [
        (Ending.INTERRUPTED, "the recorder stopped"),
        (Ending.STAND_LOST, "the stand stopped answering"),
        (Ending.NEVER_FINISHED, "did not end within the time"),
    ],
)
def test_a_recording_without_a_proper_end_is_aborted_even_if_all_else_passed(ending, words):
    found = judged(make_trace(ending=ending))

    assert found.outcome is Outcome.ABORTED
    assert words in found.reasons[0]


def test_an_aborted_run_tells_what_had_failed_by_then():
    def shake(values, time):
        values["vibration"][time < 190] = 9.0

    trace = make_trace(bend=shake, keep=lambda time: time < 250, ending=Ending.STAND_LOST)
    found = judged(trace)

    assert found.outcome is Outcome.ABORTED
    assert any("step 3, fast dry: vibration 9 mm/s" in reason for reason in found.reasons)


def test_an_imported_trace_is_judged_like_any_other():
    assert judged(make_trace(ending=Ending.IMPORTED)).outcome is Outcome.COUNTED


def test_a_recipe_of_fewer_steps_than_planned_never_counts():
    short = CR_1.model_copy(update={"steps": CR_1.steps[:3]})
    found = judged(make_trace(Scene(recipe=short)), CR_1)

    assert found.outcome is Outcome.RELEVANT_FAILURE
    assert found.reasons[0] == "only 3 of 4 steps ran"
    assert any("ran another recipe" in reason for reason in found.reasons)


def test_a_recipe_of_more_steps_than_planned_never_counts():
    short = CR_1.model_copy(update={"steps": CR_1.steps[:3]})
    found = judged(make_trace(recipe=short), short)

    assert found.outcome is Outcome.RELEVANT_FAILURE
    assert "steps 1, 2, 3, 4 were executed, the recipe has steps 1 to 3" in found.reasons[0]


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ({"recipe": CR_1.model_copy(update={"revision": 2})}, "CR-1 revision 2 was loaded"),
        ({"load": Load(name="other", slots=(1,), wafer_mass_g=53.0)}, "ran with another load"),
        ({"head": UPPER}, "recorded on head QM-207-U, but judged as head QM-207-L"),
        ({"channel_map": UPPER_CHANNELS}, "belongs to head QM-207-U, not to QM-207-L"),
    ],
)
def test_a_trace_of_something_else_than_planned_never_counts(header, words):
    found = judged(make_trace(**header), CR_1)

    assert found.outcome is Outcome.RELEVANT_FAILURE
    assert words in found.reasons[0]


def test_channels_of_a_head_at_rest_are_told_from_those_of_the_head_that_ran():
    def swap(values, time):
        values["optical tach"][:] = 17.0
        values["optical tach edge"][:] = 123456.0
        values["vibration"][:] = 0.04

    found = judged(make_trace(bend=swap))

    assert found.outcome is Outcome.RELEVANT_FAILURE
    assert "do not come from the same head" in found.reasons[0]


def test_channels_of_a_head_that_runs_something_else_are_told_too():
    other = CR_1.model_copy(
        update={
            "steps": tuple(
                s.model_copy(update={"speed_rpm": speed})
                for s, speed in zip(CR_1.steps, (300.0, 600.0, 1000.0, 900.0), strict=True)
            )
        }
    )
    foreign = make_trace(Scene(recipe=other))
    trace = make_trace()
    mixed = {
        name: foreign.signals[name] if name.startswith("optical") else signal
        for name, signal in trace.signals.items()
    }
    found = judged(type(trace)(trace.header, mixed, (), trace.ending, trace.sha256))

    assert any("do not follow one another" in reason for reason in found.reasons)


def test_a_fault_that_the_controller_reports_never_counts():
    def fail(values, time):
        values["status"] += np.where(time > 200, int(Status.FAULT), 0)

    found = judged(make_trace(bend=fail))

    assert found.outcome is Outcome.RELEVANT_FAILURE
    assert found.reasons[0] == "the controller reported a fault at 200.0 s"


def test_a_clock_step_alone_counts_with_a_note():
    step = Incident(
        kind=IncidentKind.CLOCK_STEP, time_s=194.5, size=5.0, text="the clock jumped by 5 s"
    )
    found = judged(make_trace(incidents=(step,)))

    assert found.outcome is Outcome.COUNTED
    assert found.reasons[-1] == "noted at 194.5 s: the clock jumped by 5 s"


@pytest.mark.parametrize(("lost", "outcome"), [(2, "counted"), (3, "relevant failure")])
def test_a_gap_counts_by_its_samples_even_if_nobody_noted_it(lost, outcome):
    found = judged(make_trace(keep=lambda t: (t < 99.99) | (t > 99.99 + lost * 0.05)))

    assert found.metric("largest_gap").value == lost
    assert found.outcome == outcome


def test_a_limit_that_does_not_count_is_told_but_stops_nothing():
    soft = tuple(
        limit.model_copy(update={"counts": limit.metric != "vibration"}) for limit in LIMITS.limits
    )

    def shake(values, time):
        values["vibration"][:] = 9.0

    found = judged(make_trace(bend=shake), limits=LIMITS.model_copy(update={"limits": soft}))

    assert found.outcome is Outcome.COUNTED
    assert found.metric("vibration", 3).verdict == "fail"


@pytest.mark.parametrize(
    ("kind", "why"),
    [
        (IncidentKind.FROZEN, "what it shows proves nothing"),
        (IncidentKind.RATE, "its times prove nothing"),
        (IncidentKind.DISAGREEMENT, "nobody can say which is right"),
    ],
)
def test_what_leaves_a_channel_without_proof_keeps_a_run_from_counting(kind, why):
    incident = Incident(kind=kind, time_s=31.5, size=70.0, text="something was noticed")
    found = judged(make_trace(incidents=(incident,)))

    assert found.outcome is Outcome.RELEVANT_FAILURE
    assert f"something was noticed, from 31.5 s on: {why}" in found.reasons
