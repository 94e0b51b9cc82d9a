"""The whole judgement: repeatable, complete, and unmoved by empty traces."""

import numpy as np
import pytest
from tests.demo_files import CR_1, LIMITS, LOWER, LOWER_CHANNELS
from tests.judge.traces import judged, make_trace

from spinproof.files.canonical import canonical_json, digest_of
from spinproof.judge.verdicts import UNITS
from spinproof.model.channel import CountType, Role
from spinproof.model.judgement import Judgement
from spinproof.model.limit import Basis, Limit, LimitSet
from spinproof.model.run import Ending, Outcome
from spinproof.model.trace import Signal, Trace
from spinproof.signals.tach import unwrap_counter


def test_the_same_inputs_give_the_same_bytes():
    first, second = (canonical_json(judged(make_trace()).to_document()) for _ in range(2))

    assert first == second


def test_a_judgement_survives_its_own_document():
    found = judged(make_trace())

    assert Judgement.from_document(found.to_document()) == found


def test_a_judgement_names_what_it_was_made_from():
    found = judged(make_trace())

    assert found.recipe_sha256 == digest_of(CR_1.to_document())
    assert found.head_sha256 == digest_of(LOWER.to_document())
    assert found.limits_sha256 == digest_of(LIMITS.to_document())
    assert found.simulated
    assert found.software.startswith("spinproof ")


def test_every_measured_metric_has_an_uncertainty_and_every_other_a_reason():
    for metric in judged(make_trace()).metrics:
        assert (metric.value is None) == (metric.uncertainty is None)
        assert metric.value is not None or metric.note


def test_every_limit_of_the_demo_has_a_verdict():
    found = judged(make_trace())
    named = {metric.name for metric in found.metrics if metric.verdict is not None}

    assert named == {limit.metric for limit in LIMITS.limits}


def test_a_trace_without_a_single_sample_is_judged_and_never_counts():
    found = judged(make_trace(keep=lambda time: np.zeros(time.size, dtype=bool)))

    assert found.outcome is Outcome.RELEVANT_FAILURE
    assert found.segments == ()


def test_a_trace_cut_at_any_moment_is_judged_without_an_error_and_never_counts():
    trace = make_trace(ending=Ending.IMPORTED)
    for end in np.linspace(0.1, trace.duration_s - 4, 25):
        found = judged(make_trace(keep=lambda t, end=end: t < end, ending=Ending.IMPORTED))
        assert found.outcome is Outcome.RELEVANT_FAILURE, f"cut at {end:.1f} s"


@pytest.mark.parametrize("role", [None, *(c.role for c in LOWER_CHANNELS.channels)])
def test_a_limit_that_nothing_can_keep_is_never_passed_whatever_channel_is_missing(role):
    """No metric may vanish and take its limit along."""
    trace = make_trace(without=() if role is None else (role,))
    for metric, unit in UNITS.items():
        limit = Limit(
            metric=metric, unit=unit, upper=-1e6, basis=Basis.SHOP_RULE, source="impossible"
        )
        found = judged(trace, limits=LimitSet(name="impossible", limits=(limit,)))
        assert found.outcome is Outcome.RELEVANT_FAILURE, f"{metric} without {role}"


def as_floats(trace):
    """Give a trace as an import from a table would: floats in the channel's unit, some missing."""
    signals = {}
    for name, signal in trace.signals.items():
        imported = {"type": CountType.F64, "scale": 1.0, "missing": None}
        values = signal.values
        if signal.channel.role in {Role.TACH_COUNT, Role.OPTICAL_COUNT}:
            values = unwrap_counter(signal.counts, 16).astype(float)
        values[1000::997] = np.nan
        signals[name] = Signal(signal.channel.model_copy(update=imported), signal.time_s, values)
    return Trace(trace.header, signals, (), Ending.IMPORTED, trace.sha256)


def test_a_trace_from_a_table_of_floats_is_judged_like_the_recording():
    recorded, imported = judged(make_trace()), judged(as_floats(make_trace()))

    assert imported.outcome is Outcome.COUNTED, imported.reasons
    for metric in recorded.metrics:
        other = imported.metric(metric.name, metric.step)
        if metric.name != "missing_share":
            if metric.value is None:
                assert (metric.name, other.value) == ("seal_pressure_loss", None)
                continue
            assert other.value == pytest.approx(metric.value, abs=2 * metric.uncertainty + 1e-9)
