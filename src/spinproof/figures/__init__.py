"""Charts as SVG text: pure functions of values, the same bytes each time."""
