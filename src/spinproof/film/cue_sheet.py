"""The presenter's cue sheet: what happens when, what to show, what to say, and what never."""

from collections.abc import Sequence
from dataclasses import dataclass

from spinproof.model.film import Cue, CueSheet
from spinproof.model.recipe import Recipe, Step, StepKind, TimerBasis

WORDS_PER_MINUTE = 130.0
"""A calm reading pace. Common practice, no source."""
BEFORE_S, DOOR_S = 90.0, 30.0
NEVER_SAY = (
    "perfect, as new, fully refurbished, guaranteed, certified, zero defects",
    "any name of a customer, a person, a place or another job",
    "the door is safe to open: only the machine's own interlock says that",
    "a number that is not on the screen or on this sheet",
)
BEFORE_FILMING = (
    "Labels, whiteboards, screens and papers of other jobs are out of the picture.",
    "Nobody who has not agreed is to be seen or heard; telephones are silent.",
    "The camera stands on a stand, wipes its lens, and has room for twice the run's length.",
    "Place and device tags are switched off; the copy to be published is cleaned all the same.",
    "The sync lamp is in the picture, its tone is heard; a clock with seconds is in the picture.",
    "Instruments' tags and due dates, the head's plate and the order's token are at hand.",
    "A deliberately wet wafer lies ready for the same light, to show that wet would be seen.",
    "Guards and interlocks are in place as the machine's maker and local codes demand.",
)


@dataclass(frozen=True)
class Stop:
    """When the head's own stop sequence comes, from the model of the head."""

    coast_s: float
    """From the end of the last step until the rotor may be indexed. [s]"""
    index_rpm: float


def write_cues(
    recipe: Recipe, head: str, wafers: int, stop: Stop, exclusions: Sequence[str]
) -> CueSheet:
    """Write the cue sheet of a run.

    Parameters
    ----------
    recipe : Recipe
        What the head will run.
    head : str
        Its designation.
    wafers : int
        How many wafers are in it.
    stop : Stop
        How it will come to rest.
    exclusions : sequence of str
        What is not in scope, as the ledger has it.

    Returns
    -------
    CueSheet
        Moments from the command of the first step; negative before it.
    """
    cues = [_opening(head, exclusions), _door(wafers)]
    start, speed = 0.0, 0.0
    for number, step in enumerate(recipe.steps, start=1):
        ramp = abs(step.speed_rpm - speed) / step.ramp_rpm_per_s
        cues.extend(_of_step(number, step, start, ramp, rises=step.speed_rpm > speed))
        start += step.duration_s + (ramp if step.timer_basis is TimerBasis.FROM_AT_SPEED else 0.0)
        speed = step.speed_rpm
    cues.extend(_ending(start, speed, stop, wafers))
    told = tuple(
        _timed(cue, following) for cue, following in zip(cues, [*cues[1:], None], strict=True)
    )
    return CueSheet(
        head=head,
        recipe=f"{recipe.name}, revision {recipe.revision}",
        words_per_minute=WORDS_PER_MINUTE,
        exclusions=tuple(exclusions),
        never_say=NEVER_SAY,
        before_filming=BEFORE_FILMING,
        cues=told,
    )


def speaking_time(text: str) -> float:
    """Give how long a text takes to say at the stated pace, in seconds."""
    return 60.0 * len(text.split()) / WORDS_PER_MINUTE


def _cue(at: float, event: str, show: str, say: str) -> Cue:
    return Cue(run_s=round(at, 1), event=event, show=show, say=say, say_s=speaking_time(say))


def _timed(cue: Cue, following: Cue | None) -> Cue:
    """Mark a sentence that takes longer than there is until the next cue."""
    if following is None or cue.say_s <= following.run_s - cue.run_s:
        return cue
    return cue.model_copy(update={"too_long_by_s": cue.say_s - (following.run_s - cue.run_s)})


def _opening(head: str, exclusions: Sequence[str]) -> Cue:
    said = "; ".join(exclusions) if exclusions else "nothing is recorded as excluded"
    say = f"Not in scope, and not shown as proven: {said}. You see head {head}."
    before = max(BEFORE_S, DOOR_S + speaking_time(say) + 5)
    return _cue(-before, "opening", "plate and tag of the head, clock, instruments' tags", say)


def _door(wafers: int) -> Cue:
    say = f"{wafers} wafers are in. The door closes, and its seal is inflated."
    return _cue(-DOOR_S, "door closes", "wafers in their slots, door, seal pressure", say)


def _of_step(number: int, step: Step, start: float, ramp: float, *, rises: bool) -> list[Cue]:
    show = {
        StepKind.RINSE: "water on the window, rotor, speed on screen",
        StepKind.PURGE: "window, drain, water is off",
        StepKind.DRY: "window as it clears, nitrogen temperature, vibration on screen",
    }[step.kind]
    say = f"Step {number}, {step.name}: {step.duration_s:g} seconds at {step.speed_rpm:g} rpm."
    cues = [_cue(start, f"step {number}: {step.name}", show, say)]
    if 5.0 < ramp < step.duration_s:
        way = "up to" if rises else "down to"
        reached = f"Now {way} speed. Compare the screen with the machine's own display."
        cues.append(_cue(start + ramp, f"at {step.speed_rpm:g} rpm", "both displays", reached))
    return cues


def _ending(start: float, speed: float, stop: Stop, wafers: int) -> list[Cue]:
    slow = start + stop.coast_s
    return [
        _cue(
            start,
            "drive off",
            "speed as it falls",
            f"The drive is off at {speed:g} rpm; nothing brakes the rotor.",
        ),
        _cue(
            slow,
            f"below {stop.index_rpm:g} rpm",
            "positioner",
            "The rotor is slow enough to be indexed; the door stays locked.",
        ),
        _cue(
            slow + 15,
            "release",
            "seal pressure, door lock",
            "The machine's interlock releases the door. Watch the order.",
        ),
        _cue(
            slow + 30,
            "wafers out",
            "each wafer, both sides, edge on, in raking light; then the bowl; then the wet wafer",
            f"All {wafers} wafers, slot by slot. Drops are counted aloud, in the bowl too.",
        ),
        _cue(slow + 60 + 12 * wafers, "end", "end card", "What was not in scope stays unproven."),
    ]
