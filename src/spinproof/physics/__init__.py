"""Laws of rinsing and spin drying: pure functions on floats and arrays, in SI units."""
