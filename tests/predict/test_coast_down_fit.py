"""Drag and inertia from coast-downs: what is said, and what cannot be."""

import dataclasses

import numpy as np
import pytest
from tests.predict import heads

from spinproof.predict.coast_down import DRAG, Coast, drag_of
from spinproof.signals.coast_down import decelerations


def coasts(count: int = 3, added: float = 0.0, seed: int = 1) -> list[Coast]:
    rng = np.random.default_rng(seed)
    return [heads.coast(rng, i, added) for i in range(count)]


def test_without_a_known_inertia_the_drag_is_scaled_with_the_specified_one():
    once, twice = (drag_of(coasts(), inertia) for inertia in (0.22, 0.44))

    assert "inertia_kg_m2" not in once.values
    assert "drag over inertia only" in once.cannot_say[0].why
    for name in DRAG:
        assert twice.values[name] == pytest.approx(2 * once.values[name])


def test_wafers_alone_do_not_tell_the_inertia_of_a_heavy_rotor():
    light = heads.coast(np.random.default_rng(2), 7, added=0.003)

    found = drag_of([*coasts(), light], 0.22)

    assert "which the scatter of the drag hides" in found.cannot_say[0].why
    assert "ring of known inertia" in found.cannot_say[0].mend


def test_a_ring_of_known_inertia_tells_it():
    found = drag_of([*coasts(3), *coasts(3, added=0.06, seed=2)], 99.0)

    assert found.cannot_say == ()
    assert found.values["inertia_kg_m2"] == pytest.approx(heads.INERTIA, rel=0.03)
    assert any("same with every load" in caution for caution in found.fit.cautions)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_too_few_runs_say_nothing(count: int):
    found = drag_of(coasts(count), 0.22)

    assert (found.fit, found.values) == (None, {})
    assert f"{count} usable coast-downs, 3 are needed" in found.cannot_say[0].why


def test_a_coast_down_of_a_few_pulses_is_left_out_by_name():
    short = coasts(1)[0]
    short = dataclasses.replace(short, moment_s=short.moment_s[:9], angle=short.angle[:9])

    found = drag_of([*coasts(2), short], 0.22)

    assert "run T-0: 9 pulses, 30 are needed" in found.cannot_say[0].why


def test_a_narrow_span_of_speeds_separates_no_terms():
    whole = coasts(1)[0]
    part = dataclasses.replace(whole, moment_s=whole.moment_s[:60], angle=whole.angle[:60])

    found = drag_of([part] * 3, 0.22)

    assert "the terms need a wider span" in found.cannot_say[0].why


def test_a_term_that_is_not_there_is_said_to_be_none():
    rng = np.random.default_rng(5)

    def without_grease(number: int) -> Coast:
        time = np.arange(0.0, 40.0, 0.05)
        root, k = np.sqrt(0.35 / 2.5e-5), np.sqrt(0.35 * 2.5e-5) / 0.22
        first = np.arctan(120.0 / root)
        turned = root / k * np.log(np.cos(first - k * time) / np.cos(first))
        return Coast(heads.run(number), time + rng.normal(0, 8e-6, time.size), turned, 0.0)

    found = drag_of([without_grease(i) for i in range(4)], 0.22)

    assert "viscous_drag_n_m_s cannot be told from zero" in found.fit.cautions
    assert found.values["coulomb_torque_n_m"] == pytest.approx(0.35, rel=1e-3)


def test_the_fit_keeps_its_runs_and_its_residuals():
    found = drag_of(coasts(), 0.22)

    assert [run.run for run in found.fit.runs] == ["T-0", "T-1", "T-2"]
    assert [each.run for each in found.fit.residuals] == ["T-0", "T-1", "T-2"]
    assert found.fit.residual_rms == pytest.approx(8.0, rel=0.2)
    assert np.array(found.fit.covariance).shape == (3, 3)


def test_the_residuals_of_one_run_are_those_of_its_clock():
    one = coasts(1)[0]
    found = decelerations(one.moment_s, one.angle)

    assert np.std(found.residuals) == pytest.approx(8e-6, rel=0.2)
