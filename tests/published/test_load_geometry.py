"""Mass and unbalance of wafers against geometry, by an independent route.

Nominal sizes of wafers from open secondary sources on SEMI M1; density of silicon 2329 kg/m3.
"""

import numpy as np
import pytest
from scipy.integrate import quad
from tests.demo_files import LOWER

from spinproof.model.head import RotorAxis
from spinproof.model.load import Load, spread_slots
from spinproof.physics.load_balance import (
    balance_of,
    flat_unbalance,
    load_unbalance,
    plane_unbalances,
    spread_mass_unbalance,
    wafer_mass,
)

pytestmark = pytest.mark.source(
    "geometry of disk and segment by quadrature", kind="independent route"
)

RPM = np.pi / 30
PITCHED = LOWER.model_copy(update={"slot_pitch_mm": 6.35, "plane_distance_mm": 200.0})


@pytest.mark.parametrize(
    ("diameter_mm", "thickness_um", "grams"),
    [
        (100, 525, 9.6033),
        (125, 625, 17.8632),
        (150, 675, 27.7809),
        (200, 725, 53.0466),
        (300, 775, 127.5862),
    ],
)
def test_a_wafer_weighs_what_its_size_says(diameter_mm, thickness_um, grams):
    assert 1e3 * wafer_mass(1e-3 * diameter_mm, 1e-6 * thickness_um) == pytest.approx(
        grams, abs=1e-4
    )


@pytest.mark.parametrize(
    ("chord_mm", "diameter_mm", "thickness_um", "g_mm"),
    [
        (57.5, 150, 675, 24.9055),
        (47.5, 150, 675, 14.0402),
        (42.5, 125, 625, 9.3118),
        (32.5, 100, 525, 3.4978),
    ],
)
def test_a_flat_leaves_the_first_moment_of_its_segment(chord_mm, diameter_mm, thickness_um, g_mm):
    r, half, t = diameter_mm / 2000, chord_mm / 2000, 1e-6 * thickness_um
    moment, _ = quad(
        lambda x: 2 * x * np.sqrt(r * r - x * x), np.sqrt(r * r - half * half), r, epsabs=0
    )

    found = float(flat_unbalance(2 * half, t))
    assert 1e6 * found == pytest.approx(g_mm, abs=1e-4)
    assert found == pytest.approx(2329.0 * t * moment, rel=1e-9)


@pytest.mark.parametrize(
    ("count", "g_mm"), [(1, 26.523), (9, 238.710), (13, 344.803), (25, 663.082)]
)
def test_wafers_that_lean_to_one_side_add_up(count, g_mm):
    """53.0466 g each, 0.5 mm off the axis."""
    load = Load(
        name="x",
        slots=spread_slots(count, 25),
        wafer_mass_g=53.0466,
        seat_eccentricity_mm=0.5,
    )
    found = balance_of(load, PITCHED, 1750 * RPM)

    assert 1e6 * abs(found.static) == pytest.approx(g_mm, abs=1e-3)
    assert 1e9 * abs(found.couple) == pytest.approx(0, abs=1e-6)


def test_the_lowest_nine_slots_make_a_couple_of_60_6_g_mm_in_each_plane():
    load = Load(
        name="low", slots=tuple(range(1, 10)), wafer_mass_g=53.0466, seat_eccentricity_mm=0.5
    )
    found = balance_of(load, PITCHED, 1750 * RPM)

    assert 1e9 * found.couple == pytest.approx(-12126.4, abs=1)
    upper, lower = found.planes
    assert 1e6 * (lower - upper) / 2 == pytest.approx(60.63, abs=0.01)
    assert upper + lower == pytest.approx(found.static)


def test_the_first_thirteen_slots_make_a_couple_and_the_odd_ones_none():
    """13 137 g mm2 and 65.7 g mm in each of two planes 200 mm apart (53.05 g, 0.5 mm)."""
    heights = 6.35e-3 * (np.arange(1, 14) - 13)
    _, couple = load_unbalance([53.0466e-3] * 13, [0.5e-3] * 13, heights)
    upper, _ = plane_unbalances(0, couple, 0.2)
    _, none = load_unbalance([53.0466e-3] * 13, [0.5e-3] * 13, 6.35e-3 * (np.arange(1, 26, 2) - 13))

    # 13 x (0.5 mm x 53.0466 g) x 6 pitches of 6.35 mm
    assert 1e9 * abs(couple) == pytest.approx(13137, abs=1)
    assert 1e6 * abs(upper) == pytest.approx(65.7, abs=0.05)
    assert abs(none) < 1e-15


@pytest.mark.parametrize(
    ("counts", "wafers_out"),
    [((13, 12, 13, 12), 0), ((25, 25, 25, 24), 1), ((25, 25), 0), ((25, 24), 1)],
)
def test_cassettes_that_face_one_another_carry_alike_or_lack_a_wafer(counts, wafers_out):
    """A wafer of 150 mm at 150 mm is 4167.13 g mm."""
    head = LOWER.model_copy(
        update={
            "axis": RotorAxis.OFF_AXIS,
            "slots": 25 * len(counts),
            "cassettes": len(counts),
            "cassette_radius_mm": 150.0,
        }
    )
    slots = tuple(25 * c + s for c, count in enumerate(counts) for s in range(1, count + 1))
    found = balance_of(Load(name="x", slots=slots, wafer_mass_g=27.7809), head, 1150 * RPM)

    assert 1e6 * abs(found.static) == pytest.approx(4167.13 * wafers_out, abs=1e-2)


def test_the_scatter_of_thickness_alone_takes_a_balanced_count_out_of_balance():
    """25 against 25 at 200 mm, +-25 um of 200 mm wafers, rectangular: 1494 g mm (one sigma)."""
    scatter = float(wafer_mass(0.2, 25e-6)) / np.sqrt(3)
    draws = np.random.default_rng(1).uniform(-1, 1, (20_000, 50)) * scatter * np.sqrt(3)
    sides = np.where(np.arange(50) < 25, 0.2, -0.2)

    found = spread_mass_unbalance(50, 0.2, scatter)
    assert 1e6 * found == pytest.approx(1493.5, abs=0.5)
    assert found == pytest.approx(np.std(draws @ sides), rel=0.02)
