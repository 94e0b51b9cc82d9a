"""Colours of the figures against Okabe and Ito, "Color Universal Design (CUD)", 2002/2008.

The eight colours are printed there as RGB in 0 to 255; the values here are from memory.
"""

import pytest

from spinproof.figures import palette

pytestmark = pytest.mark.source("Okabe and Ito, Color Universal Design, 2008", kind="from memory")

RGB = {
    "BLACK": (0, 0, 0),
    "ORANGE": (230, 159, 0),
    "SKY_BLUE": (86, 180, 233),
    "BLUISH_GREEN": (0, 158, 115),
    "YELLOW": (240, 228, 66),
    "BLUE": (0, 114, 178),
    "VERMILLION": (213, 94, 0),
    "REDDISH_PURPLE": (204, 121, 167),
}


@pytest.mark.parametrize("name", RGB)
def test_the_colour_is_the_published_one(name):
    colour = getattr(palette, name)

    assert tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5)) == RGB[name]
