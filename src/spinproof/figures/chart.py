"""A plain chart: two linear axes with grid and titles, for whatever is drawn inside."""

from collections.abc import Iterable
from dataclasses import dataclass

from spinproof.figures.axes import Scale, round_ticks, tick_text
from spinproof.figures.palette import INK, MUTED, RULE
from spinproof.figures.svg import drawing, label, line, number
from spinproof.figures.tag import simulated_tag

WIDTH, HEIGHT = 640.0, 320.0
LEFT, RIGHT, TOP, BOTTOM = 64.0, 18.0, 52.0, 46.0


@dataclass(frozen=True)
class Axis:
    """What an axis shows."""

    words: str
    """Quantity with its unit."""
    low: float
    high: float
    at_most: int = 6
    """Most intervals between its ticks."""
    powers: bool = False
    """Whether its values are decimal logarithms, to be labelled as what they stand for."""

    def text(self, tick: float) -> str:
        """Give the label of a tick."""
        return tick_text(10.0**tick if self.powers else tick)


@dataclass(frozen=True)
class Chart:
    """The frame of a chart.

    Attributes
    ----------
    title : str
        What is drawn.
    note : str
        How to read it, in one line under the title.
    across, up : Axis
        The axes.
    simulated : bool
        Whether the mark SIMULATED stands on it.
    """

    title: str
    note: str
    across: Axis
    up: Axis
    simulated: bool = False

    @property
    def x(self) -> Scale:
        """Map of the values across."""
        ticks = round_ticks(self.across.low, self.across.high, self.across.at_most)
        return Scale(ticks[0], ticks[-1], LEFT, WIDTH - RIGHT)

    @property
    def y(self) -> Scale:
        """Map of the values up."""
        ticks = round_ticks(self.up.low, self.up.high, self.up.at_most)
        return Scale(ticks[0], ticks[-1], HEIGHT - BOTTOM, TOP)

    def drawn(self, content: Iterable[str], alt: str) -> str:
        """Put content into the frame.

        Parameters
        ----------
        content : iterable of str
            SVG elements.
        alt : str
            What the chart shows, for a reader who does not see it.

        Returns
        -------
        str
            An SVG document, the same bytes for the same values.
        """
        alt = f"SIMULATED. {alt}" if self.simulated else alt
        return drawing(WIDTH, HEIGHT, alt, [*self._grid(), *content, *self._words()])

    def _grid(self) -> Iterable[str]:
        x, y = self.x, self.y
        for tick in round_ticks(x.low, x.high, self.across.at_most):
            yield line(x(tick), y.start, x(tick), y.end, stroke=RULE)
            yield label(x(tick), y.start + 15, self.across.text(tick), fill=MUTED, anchor="middle")
        for tick in round_ticks(y.low, y.high, self.up.at_most):
            yield line(x.start, y(tick), x.end, y(tick), stroke=RULE)
            yield label(x.start - 6, y(tick) + 3.5, self.up.text(tick), fill=MUTED, anchor="end")
        yield line(x.start, y.start, x.end, y.start, stroke=MUTED)

    def _words(self) -> Iterable[str]:
        yield label(LEFT, 18, self.title, size=13, weight="600")
        yield label(LEFT, 33, self.note, fill=MUTED)
        yield label(6, TOP - 8, self.up.words, fill=INK)
        yield label(WIDTH - RIGHT, HEIGHT - 10, self.across.words, fill=INK, anchor="end")
        if self.simulated:
            yield simulated_tag(WIDTH - RIGHT, 6)


def path_through(xs: Iterable[float], ys: Iterable[float]) -> str:
    """Give path commands through points of the drawing.

    Parameters
    ----------
    xs, ys : iterable of float
        Places. [CSS px]

    Returns
    -------
    str
        Commands for an SVG path.
    """
    points = zip(xs, ys, strict=True)
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)
