"""What a recipe will do on a head, on the page: its model, its own runs, its customer's recipes."""

from dataclasses import dataclass

from spinproof.app.calibrating import calibrate_head, prior_model
from spinproof.app.clock import utc_now
from spinproof.app.home import Home
from spinproof.app.intake import present_setup
from spinproof.app.predicting import Wish, advise_recipes, predict_recipe
from spinproof.files.canonical import digest_of
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import RecordError
from spinproof.model.head_model import HeadModel
from spinproof.model.load import Load
from spinproof.model.prediction import Advice, Prediction
from spinproof.model.recipe import Recipe

MOST_RUNS = 24
"""Runs that a calibration takes at most, the newest; more tell little more and take longer."""


@dataclass(frozen=True)
class Choice:
    """A recipe with its load that can be asked about."""

    key: str
    recipe: Recipe
    load: Load


class PredictDesk:
    """Answers from the latest model of a head, and calibrates a new one on its runs.

    Parameters
    ----------
    home : Home
        The shop's folders, with the sealed traces.
    ledger : Ledger
        The records.
    """

    def __init__(self, home: Home, ledger: Ledger) -> None:
        self._home = home
        self._ledger = ledger

    def model(self, head: str) -> HeadModel:
        """Give the latest model of the head as it is specified now, or its priors.

        Raises
        ------
        GateClosedError
            If no configuration of the head is recorded.
        """
        with self._ledger.reading() as reading:
            spec = present_setup(reading, head).head
            kept = [model for model in reading.head_models(head) if model.head == spec]
        return kept[-1] if kept else prior_model(spec)

    def choices(self, head: str) -> tuple[Choice, ...]:
        """Give the customer's recipes of the head's plans, each with its load."""
        with self._ledger.reading() as reading:
            asked = [entry.plan.asked for entry in reading.plans(head) if entry.plan.asked]
        found = {
            key: Choice(key, recipe, plan.customer_load)
            for plan in asked
            for recipe in plan.customer
            for key in [digest_of([recipe.to_document(), plan.customer_load.to_document()])[:16]]
        }
        return tuple(found.values())

    def predict(self, head: str, key: str, *, dry_g: float, seed: int) -> Prediction:
        """Predict what a recipe will do; RecordError when the head has no such recipe."""
        choice = self._chosen(head, key)
        return predict_recipe(self.model(head), choice.recipe, choice.load, dry_g=dry_g, seed=seed)

    def advise(self, head: str, key: str, *, dry_g: float, seed: int) -> Advice:
        """Find recipes among which none is better in every way; PlanError when none is feasible."""
        choice = self._chosen(head, key)
        wish = Wish(dry_g=dry_g)
        return advise_recipes(self.model(head), choice.recipe, choice.load, wish=wish, seed=seed)

    def calibrate(self, head: str, by: str) -> HeadModel:
        """Calibrate on the newest runs of the present configuration, and keep the model.

        Raises
        ------
        RecordError
            If the head has no recorded run of its present configuration.
        """
        with self._ledger.reading() as reading:
            setup = present_setup(reading, head)
            since = reading.configurations(head)[-1].since
            runs = [
                run.trace_sha256
                for run in reading.runs(head)
                if run.trace_sha256 and run.started_at >= since
            ]
        if not runs:
            raise RecordError(
                "no run of the present configuration is recorded yet",
                where=f"head {head}",
                mend="Record some runs first, or give weighings to `spinproof calibrate`.",
            )
        traces = [self._home.trace(sha256) for sha256 in runs[-MOST_RUNS:]]
        model = calibrate_head(setup.head, traces)
        with self._ledger.transaction(by, utc_now()) as records:
            records.keep_head_model(model)
        return model

    def _chosen(self, head: str, key: str) -> Choice:
        for choice in self.choices(head):
            if choice.key == key:
                return choice
        raise RecordError(
            "the plans of the head hold no such recipe",
            where=f"head {head}",
            mend="Choose one of those on the page, or make a plan with it.",
        )
