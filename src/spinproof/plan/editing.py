"""Edit a plan: each edit gives a new plan that says what was changed, and leaves the old alone."""

from collections.abc import Collection, Sequence

from spinproof.files.canonical import digest_of
from spinproof.model.errors import PlanError
from spinproof.model.head import HeadSpec
from spinproof.model.plan import Asked, Ban, Bound, Cell, Plan, PlannedRun
from spinproof.plan.completing import complete, randomised
from spinproof.plan.feasible import feasible_set
from spinproof.plan.given import Draft, rung_nearby
from spinproof.plan.pacing import paced
from spinproof.plan.region import FACTORS, Region

NEIGHBOURHOOD = 0.1
"""How far around a forbidden run its like is forbidden too, as a share of each span."""


def pin(plan: Plan, number: int, *, pinned: bool = True) -> Plan:
    """Pin a run, or let it go again: a pinned run stays when the plan is made again.

    Parameters
    ----------
    plan : Plan
        The plan; it is left as it is.
    number : int
        Number of the run. [1]
    pinned : bool
        Whether it is to stay.

    Returns
    -------
    Plan
        The new plan.

    Raises
    ------
    PlanError
        If there is no such run.
    """
    run = run_of(plan, number)
    runs = [*plan.runs]
    runs[number - 1] = run.model_copy(update={"pinned": pinned})
    did = "Pinned" if pinned else "Let go of"
    return _edited(plan, runs, f"{did} run {number}, {run.recipe.name}.")


def move(plan: Plan, head: HeadSpec, number: int, to: int) -> Plan:
    """Move a run to another place in the order; the runs between shift by one.

    Parameters
    ----------
    plan : Plan
        The plan; it is left as it is.
    head : HeadSpec
        The head it was made for.
    number, to : int
        Number of the run, and the number that it is to have. [1]

    Returns
    -------
    Plan
        The new plan, with pauses and shifts for the new order.

    Raises
    ------
    PlanError
        If there is no such run or place, or the plan is for another head.
    """
    _require_head(plan, head)
    run = run_of(plan, number)
    run_of(plan, to)
    runs = [other for other in plan.runs if other.number != number]
    runs.insert(to - 1, run)
    words = f"Moved {run.recipe.name} from place {number} to place {to}, against the drawn order."
    return _edited(plan, paced(runs, head, asked_of(plan).budgets), words)


def forbid(plan: Plan, head: HeadSpec, ban: Ban) -> Plan:
    """Forbid a part of the envelope, and choose other runs for those that lie in it.

    Parameters
    ----------
    plan : Plan
        The plan; it is left as it is.
    head : HeadSpec
        The head it was made for.
    ban : Ban
        What to keep out of.

    Returns
    -------
    Plan
        The new plan; all other runs are in their places, and a rung of the ladder moves to the
        nearest recipe that is left.

    Raises
    ------
    PlanError
        If a pinned run or one of the customer's lies in it, or nothing is left.
    """
    region = Region(head, (ban,))
    inside = [run for run in plan.runs if _lies_in(region, ban, run)]
    stay = [run for run in inside if run.pinned or run.cell is Cell.CUSTOMER]
    if stay:
        numbers = ", ".join(f"{run.number} ({run.cell})" for run in stay)
        raise PlanError(
            f"runs that stay lie inside {ban.name}: {numbers}",
            where=f"plan {plan.name}",
            mend="Let go of the pinned runs, or make a plan without that recipe.",
        )
    bounds = "; ".join(f"{b.factor} {b.low:g} to {b.high:g}" for b in ban.bounds)
    words = f"Forbade {ban.name} ({bounds}); runs inside it chosen anew: {len(inside)}."
    asked = asked_of(plan)
    asked = asked.model_copy(update={"bans": (*asked.bans, ban)})
    dropped = {run.number for run in inside}
    return _made_again(plan, head, asked, dropped, dropped, plan.seed, words)


def forbid_run(plan: Plan, head: HeadSpec, number: int) -> Plan:
    """Forbid a run with its like, a tenth of each span around it, and choose another.

    Parameters
    ----------
    plan : Plan
        The plan; it is left as it is.
    head : HeadSpec
        The head it was made for.
    number : int
        Number of the run. [1]

    Returns
    -------
    Plan
        The new plan.

    Raises
    ------
    PlanError
        As `forbid`; and if there is no such run.
    """
    region, run = Region(head), run_of(plan, number)
    point = region.point_of(run.recipe)
    if point is None:
        raise PlanError(
            f"run {number} does not lie in the envelope's box",
            where=f"plan {plan.name}",
            mend="Make a plan without that recipe.",
        )
    reach = NEIGHBOURHOOD * (region.high - region.low)
    bounds = tuple(
        Bound.model_validate({"factor": name, "low": max(0.0, low), "high": high})
        for name, low, high in zip(FACTORS, point - reach, point + reach, strict=True)
    )
    return forbid(plan, head, Ban(name=f"the like of {run.recipe.name}", bounds=bounds))


def replan(plan: Plan, head: HeadSpec, seed: int | None = None) -> Plan:
    """Choose all runs inside the envelope anew, around those that are pinned or were given.

    Parameters
    ----------
    plan : Plan
        The plan; it is left as it is.
    head : HeadSpec
        The head it was made for.
    seed : int, optional
        Seed of every random draw; else that of the plan. [1]

    Returns
    -------
    Plan
        The new plan; pinned runs, ladder and the customer's stay in their places.

    Raises
    ------
    PlanError
        If the plan is for another head, or the budgets cannot be met.
    """
    free = {run.number for run in plan.runs if randomised(run.cell) and not run.pinned}
    chosen = {run.number for run in plan.runs if run.cell is Cell.FILL and not run.pinned}
    pinned = sum(run.pinned for run in plan.runs)
    seed = plan.seed if seed is None else seed
    words = f"Chose {len(chosen)} runs anew with seed {seed}, around {pinned} pinned."
    return _made_again(plan, head, asked_of(plan), chosen, free, seed, words)


def asked_of(plan: Plan) -> Asked:
    """Give what a plan was asked to hold.

    Raises
    ------
    PlanError
        If the plan was made by an earlier version, which did not keep it.
    """
    if plan.asked is None:
        raise PlanError(
            "the plan does not say what it was asked to hold",
            where=f"plan {plan.name}",
            mend="Make it again with `spinproof plan`; plans of earlier versions are not edited.",
        )
    return plan.asked


def run_of(plan: Plan, number: int) -> PlannedRun:
    """Give a run by its number.

    Raises
    ------
    PlanError
        If there is none.
    """
    if not 1 <= number <= len(plan.runs):
        raise PlanError(
            f"there is no run {number}",
            where=f"plan {plan.name}",
            mend=f"Name a run from 1 to {len(plan.runs)}.",
        )
    return plan.runs[number - 1]


def _lies_in(region: Region, ban: Ban, run: PlannedRun) -> bool:
    point = region.point_of(run.recipe)
    return point is not None and region.is_banned(point, ban)


def _require_head(plan: Plan, head: HeadSpec) -> None:
    if plan.head_sha256 != digest_of(head.to_document()):
        raise PlanError(
            f"the plan was made for another state of head {plan.head}",
            where=f"plan {plan.name}",
            mend="Give the head spec that the plan was made from, or make a new plan.",
        )


def _made_again(
    plan: Plan,
    head: HeadSpec,
    asked: Asked,
    dropped: Collection[int],
    movable: Collection[int],
    seed: int,
    words: str,
) -> Plan:
    """Choose the dropped runs anew and order the movable ones; all else stays."""
    _require_head(plan, head)
    feasible = feasible_set(head, asked.bans, seed)
    places = list[Draft | None]()
    for run in plan.runs:
        draft = Draft(run.cell, run.recipe, run.load, run.pinned)
        if run.number not in dropped:
            places.append(draft)
        else:
            places.append(rung_nearby(draft, feasible) if run.cell is Cell.LADDER else None)
    indices = [
        run.number - 1 for run in plan.runs if run.number in movable and randomised(run.cell)
    ]
    runs = complete(head, asked, feasible, places, indices, seed)
    return _edited(plan, runs, words, asked=asked, seed=seed, feasible_share=feasible.share)


def _edited(plan: Plan, runs: Sequence[PlannedRun], words: str, **changes: object) -> Plan:
    update = {
        "runs": tuple(runs),
        "edits": (*plan.edits, words),
        "derived_from": digest_of(plan.to_document()),
    }
    return plan.model_copy(update=update | changes)
