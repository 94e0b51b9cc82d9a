"""What is printed beside a verdict is never more certain than it is."""

from hypothesis import given
from hypothesis import strategies as st

from spinproof.model.metric_words import printed_probability


@given(st.floats(0, 1))
def test_no_probability_is_printed_as_certain(value: float):
    shown = printed_probability(value)

    assert shown not in {"0.000", "1.000"}
    assert shown[0] in "<>" or abs(float(shown) - value) <= 0.0005 + 1e-12
