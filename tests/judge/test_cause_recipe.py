"""A wrong recipe: which of the known ones the trace fits, and when nothing is said."""

from functools import cache

from tests.demo_files import LIMITS, LOWER
from tests.virtualhead_judged.simulated import LOAD, RECIPE, fault, run_trace

from spinproof.judge.cause import diagnose
from spinproof.judge.cause_recipe import better_recipe
from spinproof.judge.judging import judge
from spinproof.judge.symptoms import Seen
from spinproof.model.program import FaultKind
from spinproof.model.recipe import StepKind
from spinproof.model.run import Outcome


def slower(share, name):
    steps = tuple(
        s.model_copy(update={"speed_rpm": s.speed_rpm * share}) if s.kind is StepKind.DRY else s
        for s in RECIPE.steps
    )
    return RECIPE.model_copy(update={"name": name, "steps": steps})


@cache
def executed_at(share):
    trace = run_trace(fault(FaultKind.WRONG_RECIPE, share))
    return judge(trace, RECIPE, LOWER, LIMITS, LOAD)


def test_a_wrong_recipe_is_named_and_does_not_count():
    judgement = executed_at(0.9)
    told = better_recipe(judgement, RECIPE, [slower(0.8, "SLOWER"), slower(0.9, "SLOW")])

    assert judgement.outcome is Outcome.RELEVANT_FAILURE
    assert told is not None
    assert told.startswith("the trace fits recipe SLOW revision ")
    assert f"better than {RECIPE.name}" in told
    found = diagnose(Seen(judgement, LOWER, {}, told))
    assert found.verdict == "other-recipe"
    assert told in found.causes[0].evidence_for


def test_a_recipe_that_nobody_knows_is_not_guessed():
    assert better_recipe(executed_at(0.9), RECIPE, [slower(0.8, "SLOWER")]) is None


def test_a_run_of_the_planned_recipe_fits_no_other_better():
    assert better_recipe(executed_at(1.0), RECIPE, [slower(0.9, "SLOW"), RECIPE]) is None
