"""Rounding of values and uncertainties against JCGM 100:2008 (GUM), 7.2.2 to 7.2.6.

The examples' numbers are from memory of the text.
"""

import pytest

from spinproof.dossier.numbers import with_uncertainty

pytestmark = pytest.mark.source("JCGM 100:2008, 7.2", kind="published")


def test_the_mass_standard_of_7_2_4_prints_with_its_expanded_uncertainty():
    """It reads m = (100,021 47 ± 0,000 79) g there; the printed U is twice 0,395 mg here."""
    assert with_uncertainty(100.02147, 0.00079 / 2) == "100.02147 ± 0.00079"


def test_the_resistance_of_7_2_6_is_rounded_to_the_digit_of_its_uncertainty():
    """There y = 10,057 62 Ω with u = 27 mΩ is to be rounded to 10,058 Ω."""
    assert with_uncertainty(10.05762, 0.027) == "10.058 ± 0.054"
