"""The polar plot of a balance: amounts at their angles, the permissible ring, all in words too."""

import math
import re
from xml.etree import ElementTree as ET

import pytest

from spinproof.figures.polar_plot import PolarPlane, PolarVector, Shape, polar_plot

SVG = "{http://www.w3.org/2000/svg}"
CONVENTION = "Angles against the rotation, from the mark."


def plane(*vectors: PolarVector, limit: float | None = 160.0) -> PolarPlane:
    return PolarPlane("Plane 1", "g·mm", vectors, limit)


def drawn(*planes: PolarPlane, clockwise: bool = False) -> ET.Element:
    text = polar_plot("Balance", planes, convention=CONVENTION, clockwise=clockwise)
    return ET.fromstring(text)  # noqa: S314 - our own


def tip_of(root: ET.Element) -> tuple[float, float]:
    """Give where the first vector points, from the centre, in units of the outer ring."""
    stroke = next(e for e in root.iter(f"{SVG}line") if float(e.get("stroke-width", "0")) > 2)
    outer = max(float(e.get("r", "0")) for e in root.iter(f"{SVG}circle"))
    x, y = (float(stroke.get(f"{axis}2", "")) - float(stroke.get(f"{axis}1", "")) for axis in "xy")
    return x / outer, y / outer


@pytest.mark.parametrize(
    ("degrees", "clockwise", "expected"),
    [
        (0, False, (0, -1)),
        (90, False, (-1, 0)),
        (90, True, (1, 0)),
        (180, True, (0, 1)),
        (300, False, (math.sin(math.radians(60)), -0.5)),
    ],
)
def test_an_angle_is_drawn_from_the_top_in_the_way_that_is_printed(
    *, degrees: float, clockwise: bool, expected: tuple[float, float]
):
    vector = PolarVector("found", 600.0, math.radians(degrees), Shape.FOUND)

    assert tip_of(drawn(plane(vector), clockwise=clockwise)) == pytest.approx(expected, abs=2e-3)


def test_all_that_is_drawn_stands_in_its_title_and_its_legend():
    vectors = (
        PolarVector("found 1128 g·mm at 137.0°", 1128.0, 2.39, Shape.FOUND),
        PolarVector("add 9.4 g at 317.0°", 1128.0, 5.53, Shape.CORRECTION),
    )
    root = drawn(plane(*vectors), plane(PolarVector("left <1 g·mm", 1.0, 0.0, Shape.RESIDUAL)))
    texts = [e.text for e in root.iter(f"{SVG}text")]

    title = root.findtext(f"{SVG}title") or ""
    for words in ("found 1128 g·mm at 137.0°", "add 9.4 g at 317.0°", "left <1 g·mm"):
        assert words in title
        assert words in texts
    assert CONVENTION in texts
    assert texts.count("permissible residual 160 g·mm") == 2


def test_nothing_is_drawn_smaller_than_eleven_pixels_and_the_bytes_are_stable():
    planes = (plane(PolarVector("none", 0.0, 0.0, Shape.HOLE), limit=None),)
    text = polar_plot("Balance", planes, convention=CONVENTION)

    assert text == polar_plot("Balance", planes, convention=CONVENTION)
    assert min(float(size) for size in re.findall(r'font-size="([0-9.]+)"', text)) >= 11
