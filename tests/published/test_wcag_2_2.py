"""Contrast of text in figures against WCAG 2.2, success criteria 1.4.3 and 1.4.11.

The formula for relative luminance is the definition of the recommendation of 2023.
"""

import pytest

from spinproof.figures import palette
from spinproof.figures.marks import MARKS, VOID

pytestmark = pytest.mark.source("WCAG 2.2 (2023), 1.4.3 and 1.4.11", kind="published")


def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_black_on_white_has_the_contrast_that_the_standard_names():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("text", [palette.INK, palette.MUTED, "#a84a00"])
@pytest.mark.parametrize("ground", [palette.PAPER, palette.BAND])
def test_text_is_legible_on_paper_and_on_bands(text, ground):
    assert contrast(text, ground) >= 4.5


@pytest.mark.parametrize("mark", MARKS, ids=lambda mark: mark.letter)
def test_the_letter_of_a_mark_is_legible_on_its_fill(mark):
    letter = palette.MUTED if mark is VOID else palette.BLACK

    assert contrast(letter, mark.fill) >= 4.5


@pytest.mark.parametrize("curve", [palette.BLUE, palette.VERMILLION, palette.BLUISH_GREEN])
def test_curves_stand_out_from_the_paper(curve):
    assert contrast(curve, palette.PAPER) >= 3.0
