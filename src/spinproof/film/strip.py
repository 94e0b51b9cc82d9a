"""The strip of a published film: readings of the sealed trace, drawn in luma alone."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Luma = NDArray[np.uint8]
Floats = NDArray[np.float64]
Font = ImageFont.FreeTypeFont | ImageFont.ImageFont

SHARE = 6
"""The strip is the lowest sixth of the picture."""
TEXTS_PER_S = 10
GROUND, INK, FAINT = 24, 230, 110
"""Grey levels of ground, text and curve."""


class Readings(Protocol):
    """What the strip says at a moment of the film."""

    def at(self, film_s: float) -> tuple[str, str]:
        """Give the two lines of text."""
        ...


@dataclass(frozen=True, eq=False)
class Curve:
    """A course that is drawn once behind the cursor, in the film's time."""

    film_s: Floats
    values: Floats


class Strip:
    """Draws the strip of each frame; text and cursor change ten times a second.

    Parameters
    ----------
    width, height : int
        Of the picture. [pixel]
    readings : Readings
        What it says.
    curve : Curve
        What it draws.
    end_s : float
        Duration of the film. [s]
    """

    def __init__(
        self, width: int, height: int, readings: Readings, curve: Curve, end_s: float
    ) -> None:
        self.height = height // SHARE // 2 * 2
        self._width, self._readings, self._end_s = width, readings, max(end_s, 1e-3)
        largest = max(9, int(self.height * 0.3))
        self._fonts = [ImageFont.load_default(size) for size in range(largest, 7, -2)]
        self._curve_left = int(width * 0.66)
        self._still = self._draw_still(curve)
        self._tenth, self._drawn = -1, self._still

    def at(self, film_s: float) -> Luma:
        """Give the strip's luma at a moment of the film."""
        tenth = int(film_s * TEXTS_PER_S)
        if tenth != self._tenth:
            self._tenth, self._drawn = tenth, self._draw(tenth / TEXTS_PER_S)
        return self._drawn

    def _fitting(self, line: str) -> Font:
        """Give the largest type in which a line stays clear of the curve."""
        room = self._curve_left - 16
        return next((f for f in self._fonts if f.getlength(line) <= room), self._fonts[-1])

    def _draw_still(self, curve: Curve) -> Luma:
        picture = Image.new("L", (self._width, self.height), GROUND)
        pen = ImageDraw.Draw(picture)
        top = max(float(np.max(curve.values, initial=0.0)), 1e-9)
        x = self._x(curve.film_s)
        y = self.height - 4 - (self.height - 10) * curve.values / top
        if x.size > 1:
            pen.line(list(zip(x.tolist(), y.tolist(), strict=True)), fill=FAINT, width=2)
        return np.array(picture)

    def _x(self, film_s: Floats) -> Floats:
        room = self._width - self._curve_left - 8
        return np.asarray(self._curve_left + room * np.clip(film_s / self._end_s, 0, 1))

    def _draw(self, film_s: float) -> Luma:
        picture = Image.fromarray(self._still)
        pen = ImageDraw.Draw(picture)
        for line, top in zip(self._readings.at(film_s), (0.10, 0.52), strict=True):
            pen.text((8, int(self.height * top)), line, fill=INK, font=self._fitting(line))
        x = float(self._x(np.array([film_s]))[0])
        pen.line([(x, 3), (x, self.height - 3)], fill=INK, width=1)
        return np.asarray(picture)


def draw_card(width: int, height: int, title: str, lines: tuple[str, ...]) -> Luma:
    """Draw an opening or end card.

    Parameters
    ----------
    width, height : int
        Of the picture. [pixel]
    title : str
        Its heading.
    lines : tuple of str
        What it says; long lines are wrapped, and type is made smaller until all of it fits.

    Returns
    -------
    ndarray
        Its luma.
    """
    size, font, wrapped = _fitting(width, height, lines)
    picture = Image.new("L", (width, height), GROUND)
    pen = ImageDraw.Draw(picture)
    pen.text((2 * size, size), title, fill=INK, font=ImageFont.load_default(int(size * 1.4)))
    for k, row in enumerate(wrapped):
        pen.text((2 * size, int((3.2 + 1.35 * k) * size)), row, fill=INK, font=font)
    return np.asarray(picture)


def _fitting(width: int, height: int, lines: tuple[str, ...]) -> tuple[int, Font, list[str]]:
    """Give the largest type in which all lines fit, or the smallest there is."""
    size, font, wrapped = 8, ImageFont.load_default(8), list(lines)
    for share in (18, 20, 22, 25, 28, 32, 36, 42, 50):
        size = max(8, height // share)
        font = ImageFont.load_default(size)
        wrapped = [row for line in lines for row in _wrapped(line, font, width - 4 * size)]
        if (len(wrapped) * 1.35 + 4) * size < height:
            return size, font, wrapped
    return size, font, wrapped


def _wrapped(line: str, font: Font, room: int) -> list[str]:
    rows, row = [], ""
    for word in line.split(" "):
        longer = f"{row} {word}".strip()
        if row and font.getlength(longer) > room:
            rows.append(row)
            row = word
        else:
            row = longer
    return [*rows, row]
