"""A second source of the speed beside the stand's tachs."""

import numpy as np
import pytest
from tests.judge.traces import judged, make_trace

from spinproof.model.channel import Channel, CountType, Instrument, Role
from spinproof.model.run import Outcome
from spinproof.model.trace import Signal


def with_controller_speed(share, uncertainty=0.0):
    """Give a good run, and the speed by another source that is off by some share."""
    trace = make_trace()
    shown = trace.signals["display speed"]
    channel = Channel(
        name="controller speed",
        role=Role.SPEED,
        first_register=0,
        type=CountType.F64,
        unit="rpm",
        sample_rate_hz=shown.channel.sample_rate_hz,
        instrument=Instrument(
            name="gateway", standard_uncertainty=0.5, relative_uncertainty=uncertainty
        ),
    )
    signal = Signal(channel, shown.time_s, np.asarray(shown.values) * (1 + share))
    signals = {**trace.signals, channel.name: signal}
    return type(trace)(trace.header, signals, (), trace.ending, trace.sha256)


def test_two_sources_that_agree_are_no_finding():
    assert judged(with_controller_speed(0.0)).outcome is Outcome.COUNTED


@pytest.mark.parametrize("share", [0.03, -0.03, 1.0])
def test_two_sources_that_disagree_never_count_and_the_sizes_are_told(share):
    found = judged(with_controller_speed(share))
    words = [reason for reason in found.reasons if "disagree on the speed" in reason]

    assert found.outcome is not Outcome.COUNTED
    assert words
    assert words[0].startswith('"controller speed" and "optical tach" disagree on the speed: ')
    percent = 100 * share / (1 + share) if share > 0 else -100 * share
    assert f"({percent:.1f} %) at worst, in 4 of 4 holds" in words[0]


def test_a_difference_within_the_stated_uncertainty_is_no_quarrel():
    assert judged(with_controller_speed(0.03, uncertainty=0.02)).outcome is Outcome.COUNTED
