"""Burn-in plans of a head: made, looked at, edited into new ones, opened as a campaign."""

from collections.abc import Callable
from dataclasses import dataclass

from spinproof.app.clock import utc_now
from spinproof.app.intake import present_setup
from spinproof.app.planning import (
    compare_plan,
    coverage_of,
    forbid_region,
    forbid_run,
    forecast_of,
    measure_plan,
    move_run,
    pin_run,
    plan_burn_in,
    replan,
)
from spinproof.ledger.entries import KeptPlan
from spinproof.ledger.ledger import Ledger
from spinproof.model.documents import parse_document
from spinproof.model.errors import RecordError
from spinproof.model.head import HeadSpec
from spinproof.model.load import Load
from spinproof.model.plan import Ban, Budgets, Plan
from spinproof.model.plan_quality import Compared, CoverageView, Forecast, PlanQuality
from spinproof.model.recipe import Recipe
from spinproof.plan.coverage import level_table, unit_table

Edit = Callable[[Plan, HeadSpec], Plan]
"""Makes a new plan from a plan of a head."""


@dataclass(frozen=True)
class PlanLine:
    """A kept plan in a list."""

    sha256: str
    name: str
    runs: int
    edits: tuple[str, ...]
    kept_at: str
    campaigns: tuple[int, ...]
    """Numbers of the campaigns that were opened under it."""


@dataclass(frozen=True)
class PlanView:
    """A plan with its measures beside those of ordinary generators."""

    line: PlanLine
    plan: Plan
    head: HeadSpec
    quality: PlanQuality
    compared: tuple[Compared, ...]
    forecast: Forecast


class PlanDesk:
    """Makes and keeps plans; a plan that is kept is never changed, an edit gives another one.

    Parameters
    ----------
    ledger : Ledger
        Where they are kept.
    """

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger

    def head(self, head: str) -> HeadSpec:
        """Give the spec of a head as it is configured; GateClosedError before it is."""
        with self._ledger.reading() as reading:
            return present_setup(reading, head).head

    def plans(self, head: str) -> tuple[PlanLine, ...]:
        """Give the kept plans of a head, the newest first."""
        kept, under = self._kept(head)
        return tuple(_line(entry, under) for entry in reversed(kept))

    def view(self, head: str, sha256: str) -> PlanView:
        """Give a plan with all that is to be known of it; RecordError when there is none."""
        kept, under = self._kept(head)
        entry, spec = _chosen(kept, head, sha256), self.head(head)
        plan = entry.plan
        return PlanView(
            line=_line(entry, under),
            plan=plan,
            head=spec,
            quality=measure_plan(plan, spec),
            compared=compare_plan(plan, spec),
            forecast=forecast_of(plan, spec),
        )

    def coverage(self, head: str, sha256: str) -> CoverageView:
        """Give how a plan lies in the envelope, for its figure."""
        return coverage_of(self._found(head, sha256), self.head(head))

    def forecast(self, head: str, sha256: str) -> Forecast:
        """Give what a plan will take, for its figure."""
        return forecast_of(self._found(head, sha256), self.head(head))

    def tables(self, head: str, sha256: str) -> tuple[str, str]:
        """Give a plan's points in the unit cube and its levels, each as CSV."""
        plan, spec = self._found(head, sha256), self.head(head)
        return unit_table(plan, spec), level_table(plan, spec)

    def make(
        self,
        head: str,
        name: str,
        recipe: str,
        load: str,
        *,
        runs: int,
        seed: int,
        budgets: Budgets,
        by: str,
    ) -> str:
        """Make a plan from the texts of a recipe and a load, keep it, and give its SHA-256.

        Raises
        ------
        DocumentError
            If a text is no recipe or no load; it says where.
        PlanError
            If the envelope or the budgets leave no such plan.
        """
        plan = plan_burn_in(
            name,
            self.head(head),
            [parse_document(recipe, Recipe, "recipe")],
            parse_document(load, Load, "load"),
            runs=runs,
            seed=seed,
            budgets=budgets,
        )
        return self._keep(plan, by)

    def edit(self, head: str, sha256: str, edit: Edit, by: str) -> str:
        """Keep what an edit makes of a plan, and give its SHA-256."""
        return self._keep(edit(self._found(head, sha256), self.head(head)), by)

    def open_campaign(self, head: str, sha256: str, by: str) -> int:
        """Begin a burn-in under a plan, and give the campaign's number."""
        plan = self._found(head, sha256)
        with self._ledger.transaction(by, utc_now()) as records:
            return records.open_campaign(head, plan).number

    def _keep(self, plan: Plan, by: str) -> str:
        with self._ledger.transaction(by, utc_now()) as records:
            return records.keep_plan(plan)

    def _kept(self, head: str) -> tuple[tuple[KeptPlan, ...], list[tuple[str, int]]]:
        """Give the kept plans, and which campaign was opened under which."""
        with self._ledger.reading() as reading:
            campaigns = [(c.plan_sha256, c.number) for c in reading.campaigns(head)]
            return reading.plans(head), campaigns

    def _found(self, head: str, sha256: str) -> Plan:
        return _chosen(self._kept(head)[0], head, sha256).plan


def _chosen(kept: tuple[KeptPlan, ...], head: str, sha256: str) -> KeptPlan:
    for entry in kept:
        if entry.sha256 == sha256:
            return entry
    raise RecordError(
        "the head has no such plan",
        where=f"head {head}",
        mend="Choose one of its plans, or make one.",
    )


def _line(entry: KeptPlan, under: list[tuple[str, int]]) -> PlanLine:
    return PlanLine(
        sha256=entry.sha256,
        name=entry.plan.name,
        runs=len(entry.plan.runs),
        edits=entry.plan.edits,
        kept_at=entry.kept_at,
        campaigns=tuple(number for sha256, number in under if sha256 == entry.sha256),
    )


def pinning(number: int, *, pinned: bool) -> Edit:
    """Give the edit that keeps a run as it is, or lets it go."""
    return lambda plan, _: pin_run(plan, number, pinned=pinned)


def moving(number: int, to: int) -> Edit:
    """Give the edit that puts a run at another place of the order."""
    return lambda plan, head: move_run(plan, head, number, to)


def forbidding(number: int) -> Edit:
    """Give the edit that replaces a run by another one away from it."""
    return lambda plan, head: forbid_run(plan, head, number)


def keeping_out(ban: Ban) -> Edit:
    """Give the edit that keeps the plan out of a region."""
    return lambda plan, head: forbid_region(plan, head, ban)


def choosing_anew(seed: int) -> Edit:
    """Give the edit that chooses every free run anew around the pinned ones."""
    return lambda plan, head: replan(plan, head, seed=seed)
