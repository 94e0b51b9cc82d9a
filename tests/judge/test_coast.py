"""Tachs that are put right, and the drag of a coast, as the judgement shows them."""

import pytest
from tests.demo_files import LOWER
from tests.judge.traces import Scene, judged, make_trace

from spinproof.model.channel import Role
from spinproof.model.run import IncidentKind, Outcome


def without_pulses(name, each):
    """Bend a trace: the counter of a tach misses one pulse in so many."""

    def bend(values, _):
        values[name] = values[name] - values[name] // each

    return bend


def test_a_clean_run_says_that_no_pulse_was_wrong():
    found = judged(make_trace())

    assert found.metric("tach_repairs").value == 0
    assert found.metric("tach_repairs").note == "no pulse was lost or doubled"
    assert found.incidents == ()


def test_lost_pulses_of_the_reference_are_put_right_and_told():
    trace = make_trace(bend=without_pulses("optical tach", 50))
    clean, found = judged(make_trace()), judged(trace)

    repairs = found.metric("tach_repairs")
    count = trace.signals["optical tach"].counts[-1] / 49
    assert repairs.value == pytest.approx(count, abs=2)
    assert repairs.note.startswith('pulses of "optical tach" by their neighbours: ')
    assert found.outcome is Outcome.COUNTED
    assert found.metric("dose").value == pytest.approx(clean.metric("dose").value, rel=1e-6)
    (incident,) = found.incidents
    assert incident.kind is IncidentKind.PULSES_REPAIRED
    assert incident.channel == "optical tach"
    assert any("put right for the speeds" in reason for reason in found.reasons)


def test_a_head_tach_that_loses_pulses_is_judged_as_it_counted():
    trace = make_trace(bend=without_pulses("tach", 40))
    found = judged(trace)

    assert found.metric("tach_repairs").value == pytest.approx(
        trace.signals["tach"].counts[-1] / 39, rel=0.02
    )
    assert found.metric("tach_agreement").value == pytest.approx(-2.5, abs=0.03)
    assert found.outcome is Outcome.RELEVANT_FAILURE


def test_a_map_with_the_wrong_pulses_per_revolution_is_told_the_right_number():
    trace = make_trace()
    tach = trace.signals["tach"]
    wrong = tach.channel.model_copy(update={"pulses_per_rev": 4})
    trace.signals["tach"] = type(tach)(wrong, tach.time_s, tach.counts)
    found = judged(trace).metric("tach_agreement")

    assert found.value == pytest.approx(50, abs=0.1)
    assert found.note.startswith('"tach" gives 6 pulses in a revolution, by the reference at')
    assert "the channel map says 4" in found.note


def test_the_drag_of_the_coast_comes_back_over_the_inertia():
    found = judged(make_trace())
    truth = {
        "drag_coulomb": LOWER.coulomb_torque_n_m / LOWER.inertia_kg_m2,
        "drag_viscous": 0.0,
        "drag_windage": LOWER.quadratic_drag_n_m_s2 / LOWER.inertia_kg_m2,
    }

    for name, value in truth.items():
        metric = found.metric(name)
        assert abs(metric.value - value) < 3 * metric.uncertainty, name
        assert "half of the speeds" in metric.note


def test_more_drag_in_the_constant_term_shows_there():
    heavy = LOWER.model_copy(update={"coulomb_torque_n_m": 1.5 * LOWER.coulomb_torque_n_m})
    found = judged(make_trace()).metric("drag_coulomb").value

    assert heavy.coulomb_torque_n_m / heavy.inertia_kg_m2 == pytest.approx(1.5 * found, rel=1e-3)


@pytest.mark.parametrize(
    ("trace", "why"),
    [
        (make_trace(without=(Role.OPTICAL_COUNT, Role.TACH_COUNT)), "no undriven coast was seen"),
        (make_trace(Scene(optical_lost_after_stop_s=1.0)), "the coast separates no drag terms: "),
    ],
)
def test_without_a_whole_coast_nothing_is_said_of_the_drag(trace, why):
    assert judged(trace).metric("drag_windage").note.startswith(why)
