"""QR codes: the modules that are drawn, their quiet border, and the same bytes each time."""

import re

import segno

from spinproof.figures.qr import QUIET_MODULES, qr_code

LINE = "SPINPROOF.STH.V1 4F2F31A01B6A6C4E 1234 " + "92EAF4AE24704810" * 4


def modules_drawn(svg: str) -> tuple[set[tuple[int, int]], int]:
    """Give the dark modules of a drawing by column and row, and its width."""
    (path,) = re.findall(r'<path[^>]*stroke="#000"[^>]* d="([^"]+)"', svg)
    (width,) = re.findall(r'viewBox="0 0 (\d+) \1"', svg)
    dark: set[tuple[int, int]] = set()
    x, y = 0.0, 0.0
    for command, numbers in re.findall(r"([Mmh])([-\d. ]+)", path):
        values = [float(number) for number in numbers.split()]
        if command == "h":
            dark |= {(int(x) + i, int(y)) for i in range(int(values[0]))}
            x += values[0]
        elif command == "m":
            x, y = x + values[0], y + values[1]
        else:
            x, y = values
    return dark, int(width)


def test_every_module_is_drawn_inside_its_quiet_border():
    code = segno.make(LINE, error="m", micro=False)
    size, _ = code.symbol_size(border=0)
    dark, width = modules_drawn(qr_code(LINE))

    assert width == size + 2 * QUIET_MODULES
    assert dark == {
        (column + QUIET_MODULES, row + QUIET_MODULES)
        for row, line in enumerate(code.matrix)
        for column, module in enumerate(line)
        if module
    }


def test_the_same_text_gives_the_same_bytes():
    assert qr_code(LINE) == qr_code(LINE)
    assert qr_code(LINE) != qr_code(LINE + "0")
