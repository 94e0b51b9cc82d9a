"""Loads: wafers, dummies, and masses that were weighed one by one."""

import pytest
from pydantic import ValidationError

from spinproof.model.head import HeadSpec
from spinproof.model.load import Load


def test_dummies_fill_slots_and_are_no_product():
    load = Load(name="x", slots=(1, 2), dummy_slots=(26,), wafer_mass_g=27.8)

    assert load.wafer_count == 2
    assert load.filled_slots == (1, 2, 26)
    assert load.masses_g == (27.8, 27.8, 27.8)


def test_weighed_masses_count_for_wafers_and_the_usual_mass_for_dummies():
    load = Load(name="x", slots=(1, 2), dummy_slots=(3,), wafer_mass_g=27.8, weighed_g=(27.7, 27.9))

    assert load.masses_g == (27.7, 27.9, 27.8)
    assert Load.from_document(load.to_document()) == load


def test_a_document_without_the_newer_keys_keeps_its_bytes():
    """Hashes of loads and heads from before the keys stay as they were."""
    document = {"name": "x", "slots": [1], "wafer_mass_g": 50.0, "seat_eccentricity_mm": 0.5}

    assert Load.from_document(document).to_document() == document
    newer = {"cassette_radius_mm", "slot_pitch_mm", "plane_distance_mm"}
    assert newer <= set(HeadSpec.model_fields)


@pytest.mark.parametrize(
    ("document", "said"),
    [
        ({"slots": [1, 2], "dummy_slots": [2], "wafer_mass_g": 1.0}, "named twice"),
        ({"dummy_slots": [0], "wafer_mass_g": 1.0}, "counted from 1"),
        ({"dummy_slots": [1]}, "wafer_mass_g must be given"),
        ({"slots": [1, 2], "wafer_mass_g": 1.0, "weighed_g": [1.0]}, "1 masses for 2 slots"),
        ({"slots": [1], "wafer_mass_g": 1.0, "weighed_g": [0.0]}, "greater than 0"),
    ],
)
def test_loads_that_make_no_sense_are_refused(document: dict, said: str):
    with pytest.raises(ValidationError, match=said):
        Load.from_document({"name": "x", **document})
