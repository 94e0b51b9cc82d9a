"""The picture of the slots: every wafer, every dummy, and where the load pulls."""

import math
from xml.etree import ElementTree as ET

import pytest

from spinproof.figures.palette import BLUE, ORANGE, VERMILLION
from spinproof.figures.slot_picture import CassettePicture, slot_picture

SVG = "{http://www.w3.org/2000/svg}"
TWO = (
    CassettePicture(0.0, frozenset(range(1, 26))),
    CassettePicture(math.pi, frozenset(range(1, 25)), frozenset({25})),
)


def strokes(root: ET.Element, colour: str) -> list[ET.Element]:
    return [e for e in root.iter(f"{SVG}line") if e.get("stroke") == colour]


def test_each_wafer_and_each_dummy_is_one_stroke_beside_the_legend():
    root = ET.fromstring(slot_picture("Load", TWO, 25, pull=(3.7, 0.0), words="4167 g·mm"))  # noqa: S314 - our own

    assert len(strokes(root, BLUE)) == 49 + 1
    assert len(strokes(root, ORANGE)) == 1 + 1
    title = root.findtext(f"{SVG}title") or ""
    assert "cassette 1: 25 wafers, cassette 2: 24 wafers and 1 dummies" in title
    assert "4167 g·mm" in title


@pytest.mark.parametrize("angle", [0.0, 1.0, math.pi, 4.5])
def test_the_stroke_points_where_the_load_pulls(angle: float):
    root = ET.fromstring(slot_picture("Load", TWO, 25, pull=(0.5, angle)))  # noqa: S314 - our own
    (pull,) = strokes(root, VERMILLION)
    x, y = (float(pull.get(f"{a}2", "")) - float(pull.get(f"{a}1", "")) for a in "xy")

    assert math.atan2(x, -y) % (2 * math.pi) == pytest.approx(angle % (2 * math.pi), abs=0.02)


def test_a_cassette_on_the_axis_is_drawn_without_a_rotor():
    text = slot_picture("Load", (CassettePicture(0.0, frozenset({1, 25})),), 25)

    assert "seen along the axis" not in text
    assert text == slot_picture("Load", (CassettePicture(0.0, frozenset({25, 1})),), 25)
