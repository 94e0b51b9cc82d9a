"""The course of a quantity over time: its points, its level, its words."""

from xml.etree import ElementTree as ET

import pytest

from spinproof.figures.course import FOOT, HEIGHT, LEFT, RIGHT, TOP, WIDTH, Level, course

SVG = "{http://www.w3.org/2000/svg}"


def test_the_line_runs_from_the_first_value_to_the_last_inside_its_axes():
    text = course("Oxygen", [0.0, 50.0, 100.0], [20.0, 15.0, 10.0], unit="%")
    root = ET.fromstring(text)  # noqa: S314 - our own
    drawn = root.find(f"{SVG}polyline")
    assert drawn is not None
    places = [tuple(map(float, p.split(","))) for p in (drawn.get("points") or "").split()]

    assert places[0] == pytest.approx((LEFT, TOP))
    assert places[1][0] == pytest.approx((LEFT + WIDTH - RIGHT) / 2)
    assert places[-1] == pytest.approx((WIDTH - RIGHT, HEIGHT - FOOT))
    assert root.findtext(f"{SVG}title") == "Oxygen: from 20 to 10 % in 100 s"


def test_a_level_is_named_and_lies_inside():
    text = course("Oxygen", [0.0, 9.0], [20.9, 20.5], unit="%", level=Level(19.5, "too low"))

    assert "too low" in text
    assert text == course(
        "Oxygen", [0.0, 9.0], [20.9, 20.5], unit="%", level=Level(19.5, "too low")
    )


@pytest.mark.parametrize(
    ("end", "unit"),
    [(2.0, "s"), (100.0, "s"), (600.0, "min"), (2e4, "h"), (1e6, "days"), (1e300, "days")],
)
def test_time_is_marked_in_the_unit_that_gives_short_numbers(end: float, unit: str):
    text = course("Oxygen", [0.0, end], [20.9, 20.5], unit="%")

    assert f"time in {unit}" in text
    assert text.count("<text") < 20
