"""Make a burn-in plan: given runs, and runs that fill what the envelope leaves around them."""

from collections.abc import Sequence

from spinproof.files.canonical import digest_of
from spinproof.model.errors import PlanError
from spinproof.model.head import Envelope, HeadSpec
from spinproof.model.load import Load
from spinproof.model.plan import Asked, Plan
from spinproof.model.recipe import Recipe
from spinproof.model.software import SOFTWARE
from spinproof.plan.completing import complete, randomised
from spinproof.plan.feasible import feasible_set
from spinproof.plan.given import CORNERS, given_places
from spinproof.plan.loads import load_problem
from spinproof.plan.region import mean_squared_speed
from spinproof.stats.demonstration import reliability_lower_bound

CONFIDENCE = 0.95
RESTART_RULE = (
    "A relevant failure, or any change of the head's configuration, starts the count again: runs "
    "that counted until then become void, and stay on record."
)


def make_plan(
    name: str,
    head: HeadSpec,
    customer: Sequence[Recipe],
    customer_runs: int,
    corner_runs: int,
    total_runs: int,
    seed: int,
    customer_load: Load,
) -> Plan:
    """Plan a burn-in inside a head's envelope, without ladder and budgets.

    Parameters
    ----------
    name : str
        Name of the plan.
    head : HeadSpec
        The head, with its envelope.
    customer : sequence of Recipe
        The customer's recipes; they take turns.
    customer_runs : int
        Runs of the customer's recipes: the first, the last, and evenly between. [1]
    corner_runs : int
        Runs at corners of rinse speed, fast dry speed and heater, up to 8. [1]
    total_runs : int
        All runs; chosen points inside the envelope fill them up. [1]
    seed : int
        Seed of every random draw; the same inputs give the same plan. [1]
    customer_load : Load
        Load of the customer's recipes; its wafers serve for the other loads too.

    Returns
    -------
    Plan
        The ordered runs and the claim they would support.

    Raises
    ------
    PlanError
        As `compose`.
    """
    asked = Asked(
        customer=tuple(customer),
        customer_load=customer_load,
        customer_runs=customer_runs,
        corner_runs=corner_runs,
        total_runs=total_runs,
    )
    return compose(name, head, asked, seed)


def compose(name: str, head: HeadSpec, asked: Asked, seed: int) -> Plan:
    """Plan what was asked for: given runs first, the rest chosen around them, then the order.

    Parameters
    ----------
    name : str
        Name of the plan.
    head : HeadSpec
        The head, with its envelope.
    asked : Asked
        Numbers of runs, the customer's recipes and load, budgets, forbidden parts.
    seed : int
        Seed of every random draw; the same inputs give the same plan. [1]

    Returns
    -------
    Plan
        The ordered runs and the claim they would support.

    Raises
    ------
    PlanError
        If the numbers of runs do not fit one another, the envelope leaves no such plan, or the
        budgets cannot be met.
    """
    _check_numbers(head, asked)
    _check_head(head, asked)
    feasible = feasible_set(head, asked.bans, seed)
    places = given_places(asked, feasible, seed)
    movable = [i for i, draft in enumerate(places) if draft is None or randomised(draft.cell)]
    return Plan(
        name=name,
        head=head.designation,
        head_sha256=digest_of(head.to_document()),
        seed=seed,
        software=SOFTWARE,
        feasible_share=feasible.share,
        runs=complete(head, asked, feasible, places, movable, seed),
        confidence=CONFIDENCE,
        reliability_if_clean=reliability_lower_bound(asked.total_runs, 0, CONFIDENCE),
        restart_rule=RESTART_RULE,
        asked=asked,
    )


def _check_numbers(head: HeadSpec, asked: Asked) -> None:
    given = {
        f"{asked.customer_runs} of the customer's recipes": asked.customer_runs,
        f"{asked.corner_runs} corners": asked.corner_runs,
        f"{asked.ladder_runs} of a ladder": asked.ladder_runs,
    }
    problem = None
    if min(given.values()) < 0:
        problem = "numbers of runs cannot be negative"
    elif sum(given.values()) > asked.total_runs or asked.total_runs < 1:
        words = [name for name, runs in given.items() if runs] or ["none of any kind"]
        problem = f"too few runs: {' and '.join(words)} do not fit into {asked.total_runs}"
    elif asked.corner_runs > len(CORNERS):
        problem = f"there are {len(CORNERS)} corners, not {asked.corner_runs}"
    elif asked.customer_runs and not asked.customer:
        problem = "runs of the customer's recipes are asked for, and there is no such recipe"
    elif asked.customer_runs < len(asked.customer):
        problem = f"{asked.customer_runs} runs cannot hold {len(asked.customer)} recipes"
    if problem:
        raise PlanError(
            problem,
            where=f"plan for head {head.designation}",
            mend="Ask for more runs in all, or for fewer of one kind.",
        )


def _check_head(head: HeadSpec, asked: Asked) -> None:
    envelope, customer, load = head.envelope, asked.customer, asked.customer_load
    tops = [recipe.top_speed_rpm for recipe in customer]
    speeds = [envelope.fast_dry_rpm.high, *tops]
    if max(speeds) > head.top_speed_rpm:
        problem = f"{max(speeds):g} rpm lies above the head's top speed, {head.top_speed_rpm:g} rpm"
    elif max((*envelope.wafer_counts, *load.filled_slots)) > head.slots:
        problem = f"a load needs more than the head's {head.slots} slots"
    elif max(envelope.wafer_counts) > 0 and load.wafer_mass_g <= 0:
        problem = "the load does not say what a wafer weighs"
    else:
        strains = (_strain(recipe, envelope) for recipe in customer)
        start = load_problem(load, head, max(tops)) if tops else None
        problem = next(filter(None, (*strains, start)), "")
    if problem:
        raise PlanError(
            problem,
            where=f"plan for head {head.designation}",
            mend="Correct the head's envelope, the recipe or the load.",
        )


def _strain(recipe: Recipe, envelope: Envelope) -> str | None:
    """Say what the head does not bear in a recipe, if anything."""
    time, duty = recipe.process_time_s(), mean_squared_speed(recipe)
    if time > envelope.process_time_limit_s:
        return (
            f"{recipe.name} takes {time:g} s, and the head's limit is "
            f"{envelope.process_time_limit_s:g} s"
        )
    if duty > envelope.duty_limit_rpm2:
        return (
            f"{recipe.name} has a mean squared speed of {duty:.4g} rpm2, and the head's limit is "
            f"{envelope.duty_limit_rpm2:.4g} rpm2"
        )
    return None
