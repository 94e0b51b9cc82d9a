"""The tag that no simulated figure can lose."""

from spinproof.figures.palette import PAPER, VERMILLION
from spinproof.figures.svg import element, label


def simulated_tag(right: float, top: float, *, size: float = 9.0) -> str:
    """Draw the word SIMULATED in a frame, its upper right corner at a point [CSS px]."""
    width, height = size * 7.2, size * 1.7
    frame = element(
        "rect",
        x=right - width,
        y=top,
        width=width,
        height=height,
        fill=PAPER,
        stroke=VERMILLION,
        stroke_width=1,
    )
    middle = right - width / 2
    return frame + label(
        middle,
        top + size * 1.2,
        "SIMULATED",
        size=size,
        fill="#a84a00",
        anchor="middle",
        weight="600",
    )
