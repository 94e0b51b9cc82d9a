"""SVG elements as text: attributes in the order given, numbers in one form, text escaped."""

import re
from collections.abc import Iterable
from html import escape

from spinproof.figures.palette import INK, PAPER

FONT_FAMILY = "Inter, system-ui, sans-serif"

_NOT_IN_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def number(value: float) -> str:
    """Give a coordinate with at most one decimal, the same text for the same value everywhere.

    >>> number(3.0), number(-0.04), number(12.345)
    ('3', '0', '12.3')
    """
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def escaped(text: str) -> str:
    """Give text fit for content and attributes; characters that XML cannot hold become U+FFFD."""
    return escape(_NOT_IN_XML.sub("\ufffd", text))


def element(tag: str, *children: str, **attributes: str | float | None) -> str:
    """Give one element; ``font_size=9`` becomes ``font-size="9"``, None is left out."""
    parts = [tag]
    for name, value in attributes.items():
        if value is not None:
            shown = escaped(value) if isinstance(value, str) else number(value)
            parts.append(f'{name.rstrip("_").replace("_", "-")}="{shown}"')
    start = " ".join(parts)
    return f"<{start}>{''.join(children)}</{tag}>" if children else f"<{start}/>"


def label(
    x: float,
    y: float,
    content: str,
    *,
    size: float = 10,
    fill: str = INK,
    anchor: str | None = None,
    weight: str | None = None,
) -> str:
    """Give a line of text that starts, ends or is centred at a point."""
    attributes: dict[str, str | float | None] = {
        "x": x,
        "y": y,
        "font_size": size,
        "fill": fill,
        "text_anchor": anchor,
        "font_weight": weight,
    }
    return element("text", escaped(content), **attributes)


def line(
    x1: float,
    y1: float,
    x2: float,
    y2: float,
    *,
    stroke: str,
    width: float = 0.7,
    dash: str | None = None,
) -> str:
    """Give a straight line."""
    return element(
        "line", x1=x1, y1=y1, x2=x2, y2=y2, stroke=stroke, stroke_width=width, stroke_dasharray=dash
    )


def box(x: float, y: float, width: float, height: float, *, fill: str) -> str:
    """Give a filled rectangle."""
    return element("rect", x=x, y=y, width=width, height=height, fill=fill)


def drawing(
    width: float, height: float, alt: str, children: Iterable[str], *, role: str = "img"
) -> str:
    """Give a whole figure on paper white, with its text alternative inside.

    Parameters
    ----------
    width, height : float
        Size of the drawing. [CSS px]
    alt : str
        What the figure shows, for a reader who does not see it.
    children : iterable of str
        The elements, from back to front.
    role : str
        What it is to a reader who does not see it: "group" when it holds links.

    Returns
    -------
    str
        An SVG document without an XML declaration, fit for a page and for a file.
    """
    return element(
        "svg",
        element("title", escaped(alt)),
        box(0, 0, width, height, fill=PAPER),
        *children,
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        width=width,
        height=height,
        role=role,
        font_family=FONT_FAMILY,
    )
