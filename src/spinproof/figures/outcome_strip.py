"""All attempts of a burn-in in order, one mark each."""

from collections.abc import Sequence
from itertools import groupby

from spinproof.figures.marks import MARKS, Mark, draw_mark, mark_of
from spinproof.figures.palette import INK, MUTED, RULE
from spinproof.figures.svg import drawing, label, line
from spinproof.figures.tag import simulated_tag
from spinproof.model.handover import Attempt

WIDTH = 720.0
PER_ROW = 30
PITCH = 23.0
LEFT = 18.0
ROW = 32.0
RADIUS = 7.5


def outcome_strip(attempts: Sequence[Attempt], *, simulated: bool) -> str:
    """Draw every attempt as a shape with a letter, campaign by campaign.

    Parameters
    ----------
    attempts : sequence of Attempt
        The attempts in the order in which they were made.
    simulated : bool
        Whether the runs come from the virtual head; the figure then says so.

    Returns
    -------
    str
        The figure, 720 CSS px wide.
    """
    parts, top = [], 8.0
    if simulated:
        parts.append(simulated_tag(WIDTH - 4, top))
    for campaign, group in groupby(attempts, key=lambda attempt: attempt.campaign):
        members = list(group)
        parts.append(_campaign_line(campaign, members, top))
        top += 30.0
        for start in range(0, len(members), PER_ROW):
            parts.append(_row(members[start : start + PER_ROW], top))
            top += ROW
        top += 10.0
    used = {_mark(attempt) for attempt in attempts}
    parts.append(_legend([mark for mark in MARKS if mark in used], top))
    return drawing(WIDTH, top + 20, _alt(attempts), parts)


def _mark(attempt: Attempt) -> Mark:
    return mark_of(attempt.outcome, void=attempt.void)


def _campaign_line(campaign: int, members: Sequence[Attempt], top: float) -> str:
    title = f"Campaign {campaign}"
    first, last = members[0].number, members[-1].number
    span = f"attempts {first} to {last}" if last > first else f"attempt {first}"
    return (
        line(LEFT - 10, top, LEFT - 10, top + 15, stroke=INK, width=2)
        + label(LEFT, top + 12, title, size=11, weight="600")
        + label(LEFT + 82, top + 12, span, size=10, fill=MUTED)
    )


def _row(members: Sequence[Attempt], top: float) -> str:
    parts = []
    for place, attempt in enumerate(members):
        x = LEFT + RADIUS + place * PITCH
        parts.append(draw_mark(_mark(attempt), x, top + 4, RADIUS))
        if place == 0 or attempt.number % 5 == 0:
            number = str(attempt.number)
            parts.append(label(x, top + 23, number, size=8, fill=MUTED, anchor="middle"))
    return "".join(parts)


def _legend(marks: Sequence[Mark], top: float) -> str:
    parts = [line(LEFT - 10, top - 6, WIDTH - 10, top - 6, stroke=RULE)]
    x = LEFT + RADIUS
    for mark in marks:
        parts.append(draw_mark(mark, x, top + 8, 6.5))
        parts.append(label(x + 12, top + 11.5, mark.words, size=9.5))
        x += 32 + 4.7 * len(mark.words)
    return "".join(parts)


def _alt(attempts: Sequence[Attempt]) -> str:
    marks = [_mark(attempt) for attempt in attempts]
    counts = [f"{marks.count(mark)} {mark.words}" for mark in MARKS if mark in marks]
    return f"{len(attempts)} attempts in order: {', '.join(counts)}."
