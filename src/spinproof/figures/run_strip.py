"""One run, wide and low: its speed, its steps and its events, to stand among its equals."""

from collections.abc import Sequence

from spinproof.figures.axes import Scale, round_ticks, second_ticks, tick_text
from spinproof.figures.curve import curve
from spinproof.figures.palette import BAND, BLUE, INK, MUTED, RULE
from spinproof.figures.svg import box, drawing, label, line
from spinproof.figures.tag import simulated_tag
from spinproof.model.handover import Series
from spinproof.model.judgement import Event, Segment

WIDTH = 560.0
HEIGHT = 74.0
LEFT = 34.0
RIGHT = 552.0
TOP = 6.0
BASE = 46.0
LANE = 53.0

LETTERS = {
    "stop pressed": "P",
    "stop command": "S",
    "index proven": "I",
    "seal vented": "V",
    "door released": "R",
    "door opened": "O",
    "fault": "F",
}
"""Events that show as a letter; the others show as a tick."""


def run_strip(
    series: Sequence[Series],
    *,
    segments: Sequence[Segment],
    events: Sequence[Event],
    duration_s: float,
    top_speed_rpm: float,
    alt: str,
    simulated: bool,
) -> str:
    """Draw the speed of one run on axes that all runs of a campaign can share.

    Parameters
    ----------
    series : sequence of Series
        The measured quantities; the first in rpm is drawn.
    segments : sequence of Segment
        When the steps ran: shown as bands.
    events : sequence of Event
        Those of ``LETTERS`` show as letters in a lane below, others as ticks.
    duration_s : float
        End of the time axis. [s]
    top_speed_rpm : float
        Speed that the speed axis must hold. [rpm]
    alt : str
        Text alternative.
    simulated : bool
        Whether the run comes from the virtual head; the figure then says so.

    Returns
    -------
    str
        The figure, 560 by 74 CSS px.
    """
    across = Scale(0.0, duration_s, LEFT, RIGHT)
    ticks = round_ticks(0.0, top_speed_rpm, at_most=2)
    up = Scale(0.0, ticks[-1], BASE, TOP)
    speed = next((s for s in series if s.unit == "rpm"), None)
    parts = [
        *(_band(segment, across) for segment in segments if segment.step % 2),
        *(_speed_tick(tick, up) for tick in ticks),
        curve(speed, across, up, stroke=BLUE, width=1.1) if speed else "",
        line(LEFT, LANE + 6, RIGHT, LANE + 6, stroke=MUTED),
        _event_lane(events, across),
        *(_second_tick(tick, across) for tick in second_ticks(duration_s, at_most=9)),
        simulated_tag(RIGHT, 1, size=7) if simulated else "",
    ]
    return drawing(WIDTH, HEIGHT, alt, parts)


def _band(segment: Segment, across: Scale) -> str:
    left, right = across(segment.start_s), across(segment.end_s)
    return box(left, TOP, right - left, BASE - TOP, fill=BAND)


def _speed_tick(tick: float, up: Scale) -> str:
    y = up(tick)
    text = f"{tick_text(tick)} rpm" if tick == up.high else tick_text(tick)
    at = label(LEFT - 4, y + 3, tick_text(tick), size=7.5, fill=MUTED, anchor="end")
    if tick == up.high:
        at = label(LEFT + 3, y + 7.5, text, size=7.5, fill=MUTED)
    return line(LEFT, y, RIGHT, y, stroke=RULE, width=0.6) + at


def _second_tick(tick: float, across: Scale) -> str:
    x = across(tick)
    text = f"{tick_text(tick)} s" if tick == 0 else tick_text(tick)
    return line(x, LANE + 6, x, LANE + 9, stroke=MUTED) + label(
        x, LANE + 17, text, size=7.5, fill=MUTED, anchor="middle"
    )


def _event_lane(events: Sequence[Event], across: Scale) -> str:
    """Draw a tick at each event; letters keep their order and make room for one another."""
    parts, free_from = [], LEFT
    for event in sorted(events, key=lambda event: event.time_s):
        x, letter = across(event.time_s), LETTERS.get(event.name)
        parts.append(line(x, LANE + 2, x, LANE + 6, stroke=INK, width=1))
        if letter:
            at = max(x, free_from)
            parts.append(label(at, LANE, letter, size=7, anchor="middle", weight="600"))
            free_from = at + 6.5
    return "".join(parts)
