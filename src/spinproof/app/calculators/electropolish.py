"""Electropolishing: current gives a bracket, weighing the truth, and a wall only so much."""

from collections.abc import Iterator

from spinproof.app.calculators.calculator import (
    Answer,
    Calculator,
    Inputs,
    Value,
    Words,
    cannot_say,
    choice,
    quantity,
    rows,
    words,
)
from spinproof.model.access import name_key
from spinproof.model.calculation import Calculation
from spinproof.model.judgement import Verdict
from spinproof.model.quantity import UNITS, Dimension
from spinproof.physics.finish import (
    STEEL_304_EQUIVALENTS,
    STEEL_316_EQUIVALENTS,
    dissolved_mass,
    hydrogen_flow,
    removal_bracket,
    removed_thickness,
    roughness_after,
    wall_left,
)

STEELS = {"316": STEEL_316_EQUIVALENTS, "304": STEEL_304_EQUIVALENTS}
FACES = {"one face": 1, "both faces": 2}
MICRON = UNITS["um"].factor


def _compute(inputs: Inputs) -> Answer:
    weighed, bracket = _weighed(inputs), _bracket(inputs)
    if weighed is None and bracket is None:
        cannot_say(
            "neither a weighing nor current and time are given",
            "Give the loss of mass, or current and time, best all of them.",
        )
    results: list[Value | Words] = []
    if weighed is not None:
        note = "mean over the area: edges lose twice as much or more; diameters shrink by twice it"
        results.append(
            Value("weighed", "Removed, by weighing", weighed, "um", note=note, leads=True)
        )
    if bracket is not None:
        results += _by_charge(inputs, bracket, alone=weighed is None)
    upper = weighed if weighed is not None else (bracket or (0.0, 0.0))[1]
    results += _budget(inputs, upper, weighed is not None)
    results += _roughness(inputs, upper)
    return Answer(tuple(results), tuple(_warnings(weighed, bracket)))


def _weighed(inputs: Inputs) -> float | None:
    loss = inputs.maybe("loss")
    if loss is None:
        return None
    return float(removed_thickness(loss, inputs.number("area"), inputs.number("density")))


def _bracket(inputs: Inputs) -> tuple[float, float] | None:
    """Give least and greatest removal by current and time [m]; None when they are not given."""
    current, time = inputs.maybe("current"), inputs.maybe("time")
    if current is None or time is None:
        return None
    equivalents = STEELS[inputs.choice("steel")]
    low, high = removal_bracket(
        current * time, inputs.number("area"), inputs.number("density"), equivalents
    )
    return float(low), float(high)


def _by_charge(
    inputs: Inputs, bracket: tuple[float, float], *, alone: bool
) -> Iterator[Value | Words]:
    current, time = inputs.number("current"), inputs.number("time")
    low, high = bracket
    note = "no promise: the valence of the ions is not known, and some current makes oxygen; weigh"
    yield Value(
        "bracket",
        "Removed, by current and time: a bracket",
        (low + high) / 2,
        "um",
        low=low,
        high=high,
        note=note,
        leads=alone,
    )
    least, most = (float(dissolved_mass(current * time, e)) for e in STEELS[inputs.choice("steel")])
    yield Value("mass", "Loss of mass to expect", (least + most) / 2, "g", low=least, high=most)
    yield Value("charge", "Charge", current * time, "A.h")
    area = inputs.number("area")
    if area > 0:
        yield Value("density", "Current density", current / area, "A/dm2")
    yield Value("hydrogen", "Hydrogen given off", float(hydrogen_flow(current)), "L/min")


def _budget(inputs: Inputs, upper: float, by_weight: bool) -> Iterator[Value | Words]:  # noqa: FBT001 - what the number stands on
    """Give what the wall can still spare after this and all earlier removals."""
    wall, least = inputs.maybe("wall"), inputs.maybe("least_wall")
    if wall is None or least is None:
        return
    before = [row.number("removed") for row in inputs.rows("before")]
    faces = FACES[inputs.choice("faces")]
    left = float(wall_left(wall, least, [*before, upper], faces))
    yield Value("earlier", "Removed before this, all together", sum(before), "um")
    yield Value("spare", "Left to spare on each face, after this", left, "um", leads=True)
    said = "weighed" if by_weight else "the upper end of the bracket"
    yield Words(
        "budget",
        "The wall bears it",
        f"{left / MICRON:.4g} µm left, this removal taken as {said}",
        Verdict.PASS if left >= 0 else Verdict.FAIL,
        leads=True,
    )


def _earlier(part: str, kept: tuple[Calculation, ...]) -> dict[str, str]:
    """Fill in what earlier polishes of a part took off, as kept: weighed, or the upper end."""
    same = [each for each in kept if name_key(each.typed.get("part", "")) == name_key(part)]
    removed = [
        (result.high if result.high is not None else result.value)
        for each in same
        for result in each.results
        if result.name in {"weighed", "bracket"} and result.leads
    ]
    return {f"before.{n}.removed": f"{amount:.4g} um" for n, amount in enumerate(removed, start=1)}


def _roughness(inputs: Inputs, removal: float) -> Iterator[Value]:
    first, last, depth = (inputs.maybe(name) for name in ("ra", "ra_limit", "ra_depth"))
    if first is None or last is None or depth is None:
        return
    yield Value(
        "ra",
        "Roughness Ra to expect",
        float(roughness_after(removal, first, last, depth)),
        "um",
        note="working model fitted to the own bath; measure each site",
    )


def _warnings(weighed: float | None, bracket: tuple[float, float] | None) -> Iterator[str]:
    if weighed is not None and bracket is not None and weighed > bracket[1]:
        yield (
            "The weighing shows more than this charge can dissolve: check area, balance and the "
            "integral of the current."
        )
    if weighed is None:
        yield "Without a weighing this is a bracket, not a removal: weigh before and after."


ELECTROPOLISH = Calculator(
    name="electropolish",
    title="Electropolish",
    task="What a polish removed or will remove, and what the part can still spare.",
    fields=(
        words("part", "Part, by its tag", "QM207LBWL01M", "Earlier polishes of it are on record."),
        choice("steel", "Steel", tuple(STEELS)),
        quantity("area", "Area that is polished", Dimension.AREA, "37.58 dm2", uncertain=True),
        quantity("density", "Density", Dimension.DENSITY, "7980 kg/m3", uncertain=True),
        quantity("current", "Current", Dimension.CURRENT, "751.6 A", required=False),
        quantity("time", "Time under current", Dimension.TIME, "480 s", required=False),
        quantity(
            "loss",
            "Loss of mass, weighed before and after",
            Dimension.MASS,
            "61.4 g",
            "Dry, on the same balance.",
            required=False,
            uncertain=True,
        ),
        quantity("wall", "Wall of the new part", Dimension.LENGTH, "2.00 mm", required=False),
        quantity(
            "least_wall",
            "Least wall that drawing or code allows",
            Dimension.LENGTH,
            "1.90 mm",
            required=False,
        ),
        choice("faces", "Polished", tuple(FACES)),
        quantity("ra", "Roughness Ra before", Dimension.LENGTH, "0.62 um", required=False),
        quantity(
            "ra_limit",
            "Roughness that the bath reaches at last",
            Dimension.LENGTH,
            "0.10 um",
            "Fitted to the own bath.",
            required=False,
        ),
        quantity(
            "ra_depth",
            "Removal that brings it a factor e nearer",
            Dimension.LENGTH,
            "30 um",
            "Fitted to the own bath.",
            required=False,
        ),
        rows(
            "before",
            "Earlier removals of this part, each face",
            (quantity("removed", "Removed", Dimension.LENGTH, ""),),
            (("22.1 um",),),
            "As weighed, or the upper end of the bracket. They add up over the life of the part.",
            required=False,
        ),
    ),
    compute=_compute,
    from_kept=_earlier,
    formula=("h = Δm / (ρ A)", "m = I t E / F", "Ra = Ra∞ + (Ra₀ − Ra∞) e^(−h/h₀)"),
    model_error="Current and time leave a factor of 1.6, for the valence is not known. A weighing "
    "is as good as area and balance; the roughness is a working model without a published value.",
    sources=(
        "M. Faraday's laws of electrolysis, Faraday constant CODATA 2018",
        "ASTM G102, equivalent weights of alloys",
        "roughness: common practice, no source",
    ),
    cautions=(
        "Hot phosphoric and sulfuric acid, and hydrogen that burns from 4 % in air: extraction, "
        "face shield, rinse station, and a licensed practice. Local codes come first.",
        "Mask fits and threads: a diameter shrinks by twice the removal, a 60° pitch diameter by "
        "four times.",
        "A rotor is balanced anew after every polish.",
    ),
)  # fmt: skip
