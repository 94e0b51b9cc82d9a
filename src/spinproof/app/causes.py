"""What may lie behind a run: its judgement beside earlier runs of the same recipe."""

from collections import defaultdict
from statistics import median

from spinproof.judge.cause import diagnose
from spinproof.judge.cause_recipe import better_recipe
from spinproof.judge.symptoms import Seen, Usual
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.reading import Reading
from spinproof.model.cause import Diagnosis
from spinproof.model.errors import RecordError
from spinproof.model.judgement import Judgement
from spinproof.model.recipe import Recipe
from spinproof.model.run import Outcome

FEWEST = 5
"""Counted runs of a recipe from which their median is called usual."""


def diagnose_run(ledger: Ledger, run: str) -> Diagnosis:
    """Rank the likely causes of what a run showed.

    Parameters
    ----------
    ledger : Ledger
        The records.
    run : str
        Name of the run.

    Returns
    -------
    Diagnosis
        A suggestion; what is usual comes from the counted runs of the head before it that
        executed the same recipe, when there are at least five.

    Raises
    ------
    RecordError
        If there is no such run, or it was never judged.
    """
    with ledger.reading() as reading:
        entry = reading.run(run)
        judgement = reading.judgement(run)
        if judgement is None:
            raise RecordError(
                "the run was never judged, so there is nothing to look at",
                where=f"run {run}",
                mend="Judge it first.",
            )
        planned, known = reading.recipe(run), _recipes(reading, entry.head)
        return diagnose(
            Seen(
                judgement,
                reading.head_spec(run),
                _usual(reading, entry.head, run),
                better_recipe(judgement, planned, known),
            )
        )


def _recipes(reading: Reading, head: str) -> list[Recipe]:
    """Give the recipes of a head's plans, each once."""
    found = {r.recipe.name: r.recipe for kept in reading.plans(head) for r in kept.plan.runs}
    return list(found.values())


def _usual(reading: Reading, head: str, run: str) -> Usual:
    own = reading.run(run)
    earlier = [
        judgement
        for other in reading.runs(head)
        if other.number < own.number
        and other.outcome is Outcome.COUNTED
        and other.recipe_sha256 == own.recipe_sha256
        and (judgement := reading.judgement(other.name)) is not None
    ]
    return usual_of(earlier) if len(earlier) >= FEWEST else {}


def usual_of(judgements: list[Judgement]) -> Usual:
    """Give the median of each metric, by name and step."""
    values: dict[tuple[str, int | None], list[float]] = defaultdict(list)
    for judgement in judgements:
        for metric in judgement.metrics:
            if metric.value is not None:
                values[metric.name, metric.step].append(metric.value)
    return {key: median(seen) for key, seen in values.items()}
