"""A limit on its line: zones from left to right, and where a reading lies."""

import pytest

from spinproof.app.limit_bands import LimitBand, limit_band
from spinproof.model.limit import Basis, DecisionRule, Limit


def limit(
    lower: float | None = None,
    upper: float | None = None,
    rule: DecisionRule = DecisionRule.GUARDED,
) -> Limit:
    return Limit(
        metric="x", lower=lower, upper=upper, unit="mm", rule=rule, basis=Basis.STANDARD, source="s"
    )


def words(band: LimitBand) -> list[str]:
    return [zone.word for zone in band.zones]


def test_two_limits_leave_five_zones_that_fill_the_line():
    band = limit_band(limit(-10.0, 10.0), 1.0)

    assert words(band) == ["refused", "undecided", "accepted", "undecided", "refused"]
    assert band.zones[0].start == 0
    assert band.zones[-1].end == 1
    assert [z.end for z in band.zones[:-1]] == [z.start for z in band.zones[1:]]
    assert band.accepted == pytest.approx((-8.355, 8.355), abs=1e-3)


def test_a_lower_limit_refuses_to_the_left():
    assert words(limit_band(limit(lower=1.0), 0.1)) == ["refused", "undecided", "accepted"]


def test_simple_acceptance_and_an_unknown_uncertainty_have_no_guard_band():
    simple = limit_band(limit(upper=1.0, rule=DecisionRule.SIMPLE), 0.1)

    assert words(simple) == words(limit_band(limit(upper=1.0))) == ["accepted", "refused"]
    assert not simple.is_guarded


def test_an_uncertainty_as_wide_as_the_limits_accepts_nothing():
    band = limit_band(limit(-1.0, 1.0), 2.0)

    assert band.is_empty
    assert "accepted" not in words(band)


@pytest.mark.parametrize(("value", "place"), [(0.0, 0.5), (-99.0, 0.0), (99.0, 1.0)])
def test_a_reading_beyond_the_line_stands_at_its_end(value: float, place: float):
    assert limit_band(limit(-10.0, 10.0), 1.0, value).value_at == pytest.approx(place)
