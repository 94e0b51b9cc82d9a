"""Units as they stand in figures and documents."""

PRINTED = {
    "1": "",
    "us": "µs",
    "degC": "°C",
    "MOhm.cm": "MΩ·cm",
    "bar_g": "bar (gauge)",
    "kPa_g": "kPa (gauge)",
    "Ohm": "Ω",
    "rad2/s": "rad²/s",
    "um": "µm",
    "deg": "°",
    "g.mm": "g·mm",
    "g.mm2": "g·mm²",
    "N.m": "N·m",
    "kg.m2": "kg·m²",
    "dm2": "dm²",
    "m3": "m³",
    "m3/h": "m³/h",
    "m3/s": "m³/s",
    "N.m.s": "N·m·s",
    "N.m.s2": "N·m·s²",
    "uS/cm": "µS/cm",
    "A.h": "A·h",
    "A/dm2": "A/dm²",
}


def printed_unit(unit: str) -> str:
    """Give a unit as it is printed; a pure number has none.

    >>> printed_unit("MOhm.cm"), printed_unit("rpm"), printed_unit("1")
    ('MΩ·cm', 'rpm', '')
    """
    return PRINTED.get(unit, unit)
