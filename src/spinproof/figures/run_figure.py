"""One run in full: all its quantities over one time axis, its steps and its events."""

from collections.abc import Sequence

from spinproof.figures.axes import Scale, second_ticks, tick_text
from spinproof.figures.palette import BAND, INK, MUTED, RULE
from spinproof.figures.panel import Panel, draw_panel, panels_of
from spinproof.figures.setpoint import setpoint_series
from spinproof.figures.svg import box, drawing, label, line
from spinproof.figures.tag import simulated_tag
from spinproof.model.handover import Series
from spinproof.model.judgement import Event, Segment
from spinproof.model.recipe import Recipe

WIDTH = 720.0
LEFT = 46.0
RIGHT = 708.0
HEAD = 30.0
BAND_LABELS = 16.0
SPEED_HEIGHT = 100.0
PANEL_HEIGHT = 54.0
PANEL_GAP = 8.0
EVENT_ROW = 12.0
AXIS = 28.0
AT_ONCE_S = 0.05
"""Moments closer than one sample are the same moment. [s]"""


def run_figure(
    series: Sequence[Series],
    *,
    recipe: Recipe,
    segments: Sequence[Segment],
    events: Sequence[Event],
    title: str,
    alt: str,
    simulated: bool,
) -> str:
    """Draw stacked panels, one for each unit, over a shared time axis.

    Parameters
    ----------
    series : sequence of Series
        The measured quantities; those in rpm are the speed.
    recipe : Recipe
        The recipe that was run, for the set-point of the speed.
    segments : sequence of Segment
        When its steps ran: shown as bands.
    events : sequence of Event
        Moments to mark through all panels, with their names in a lane below.
    title, alt : str
        Heading of the figure, and its text alternative.
    simulated : bool
        Whether the run comes from the virtual head; the figure then says so.

    Returns
    -------
    str
        The figure, 720 CSS px wide.
    """
    across = Scale(0.0, 1.015 * _duration(series, segments, events), LEFT, RIGHT)
    panels = panels_of((*series, setpoint_series(recipe, segments)) if segments else series)
    heights = [SPEED_HEIGHT if panel.unit == "rpm" else PANEL_HEIGHT for panel in panels]
    top = HEAD + BAND_LABELS
    bottom = top + sum(heights) + PANEL_GAP * len(panels)
    lane, lane_height = _event_lane(_beside_steps(events, segments), across, top, bottom)
    parts = [
        label(4, 16, title, size=12, weight="600"),
        simulated_tag(RIGHT, 4) if simulated else "",
        _bands(segments, across, top, bottom),
        *_stack(panels, heights, across, top),
        lane,
        _time_axis(across, bottom + lane_height),
    ]
    return drawing(WIDTH, bottom + lane_height + AXIS, alt, parts)


def _duration(
    series: Sequence[Series], segments: Sequence[Segment], events: Sequence[Event]
) -> float:
    """Give the end of the last of everything, in seconds; never zero."""
    ends = [s.time_s[-1] for s in series if s.time_s]
    ends += [segment.end_s for segment in segments] + [event.time_s for event in events]
    return max(ends, default=0.0) or 1.0


def _stack(
    panels: Sequence[Panel], heights: Sequence[float], across: Scale, top: float
) -> list[str]:
    parts = []
    for panel, height in zip(panels, heights, strict=True):
        parts.append(draw_panel(panel, across, top, height))
        top += height + PANEL_GAP
    return parts


def _bands(segments: Sequence[Segment], across: Scale, top: float, bottom: float) -> str:
    parts = []
    for segment in segments:
        left, right = across(segment.start_s), across(segment.end_s)
        if segment.step % 2:
            parts.append(box(left, top, right - left, bottom - top, fill=BAND))
        name = f"{segment.step} {segment.name}"
        fits = 5.6 * len(name) < right - left
        text = name if fits else str(segment.step)
        parts.append(label((left + right) / 2, top - 5, text, size=9, fill=MUTED, anchor="middle"))
        parts.append(line(left, top - 14, left, top, stroke=RULE))
    if segments:
        end = across(segments[-1].end_s)
        parts.append(line(end, top - 14, end, top, stroke=RULE))
    return "".join(parts)


def _beside_steps(events: Sequence[Event], segments: Sequence[Segment]) -> list[Event]:
    """Give the events in order, without the starts of steps: the bands show those."""
    starts = [segment.start_s for segment in segments]
    shown = (e for e in events if all(abs(e.time_s - start) > AT_ONCE_S for start in starts))
    return sorted(shown, key=lambda event: event.time_s)


def _event_lane(
    events: Sequence[Event], across: Scale, top: float, bottom: float
) -> tuple[str, float]:
    """Draw the events and give the height of their lane; labels that would collide move down."""
    parts: list[str] = []
    free_from: list[float] = []
    for event in events:
        text = f"{event.name} {event.time_s:.1f} s"
        x, width = across(event.time_s), 5.1 * len(text) + 8
        leans_left = x + width > RIGHT
        start = x - width if leans_left else x
        row = next((i for i, free in enumerate(free_from) if free <= start), len(free_from))
        free_from[row : row + 1] = [start + width]
        y = bottom + (row + 1) * EVENT_ROW
        parts.append(line(x, top, x, y, stroke=INK, width=0.6, dash="1.5 2.5"))
        anchor = "end" if leans_left else None
        parts.append(label(x - 3 if leans_left else x + 3, y, text, size=8.5, anchor=anchor))
    return "".join(parts), EVENT_ROW * len(free_from) + 4


def _time_axis(across: Scale, top: float) -> str:
    parts = [line(across.start, top, across.end, top, stroke=MUTED, width=0.8)]
    for tick in second_ticks(across.high):
        x = across(tick)
        parts.append(line(x, top, x, top + 4, stroke=MUTED, width=0.8))
        parts.append(label(x, top + 14, tick_text(tick), size=8.5, fill=MUTED, anchor="middle"))
    parts.append(label(across.end, top + 25, "time [s]", size=9, fill=MUTED, anchor="end"))
    return "".join(parts)
