"""QR codes (ISO/IEC 18004) as SVG text, for paper and page alike."""

import segno

QUIET_MODULES = 4
"""Width of the empty border that a reader needs, in modules."""


def qr_code(content: str) -> str:
    """Draw a text as a QR code.

    Parameters
    ----------
    content : str
        The text. Digits, capital letters and ``$%*+-./:`` alone take the least room.

    Returns
    -------
    str
        An ``svg`` element of one unit a module, black on white, with its quiet border; it
        takes the width that its place gives it.
    """
    code = segno.make(content, error="m", micro=False)
    return code.svg_inline(border=QUIET_MODULES, light="#ffffff", omitsize=True)
