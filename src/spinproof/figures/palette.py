"""Colours of all figures.

References
----------
.. [1] M. Okabe and K. Ito, "Color Universal Design (CUD): How to make figures and presentations
   that are friendly to colorblind people," 2002, revised 2008. The eight values carry over.
"""

BLACK = "#000000"
ORANGE = "#e69f00"
SKY_BLUE = "#56b4e9"
BLUISH_GREEN = "#009e73"
YELLOW = "#f0e442"
BLUE = "#0072b2"
VERMILLION = "#d55e00"
REDDISH_PURPLE = "#cc79a7"

INK = "#1c2126"
"""Text and axes."""
MUTED = "#56606a"
"""Secondary text: 6.4 to 1 on white."""
RULE = "#d5dade"
"""Grid lines."""
BAND = "#f1f4f6"
"""Every second step of a run."""
PAPER = "#ffffff"
