"""What the first pages say: order, exclusions, gates, tally, claims, configuration, scope, plan."""

from collections.abc import Sequence
from dataclasses import dataclass

from spinproof.dossier.evidence import statement_id
from spinproof.dossier.numbers import (
    bound,
    moment,
    plain,
)
from spinproof.dossier.second_look import RULES
from spinproof.dossier.sentences import counted, not_said
from spinproof.dossier.statements import Statement
from spinproof.model.handover import Claim, Handover, ScopeLine, ScopeState
from spinproof.model.plan import Cell, Plan
from spinproof.model.recipe import StepKind

Content = dict[str, object]


@dataclass(frozen=True)
class Numbered:
    """The statements of a dossier with their numbers."""

    statements: tuple[Statement, ...]

    def by(self, rule: str) -> list[Content]:
        """Give the statements that a rule made, as the template prints them."""
        return [
            {"id": statement_id(number), "text": s.text, "verdict": s.verdict}
            for number, s in enumerate(self.statements, 1)
            if s.rule == rule
        ]

    def one(self, rule: str) -> Content | None:
        """Give the statement of a rule that makes at most one."""
        return next(iter(self.by(rule)), None)


def front(handover: Handover, numbered: Numbered) -> Content:
    """Give the first page."""
    return {
        "facts": [
            ["Order", handover.order],
            ["Job", handover.job],
            ["Machine", handover.machine],
            ["Head", handover.head],
            ["Issued", _issued(handover)],
        ],
        "ordered": numbered.one("ordered"),
        "simulated": numbered.one("simulated"),
        "exclusions": [_scope_row(line) for line in handover.exclusions],
        "other_heads": numbered.by("other-head") + numbered.by("process"),
        "no_warranty": [_scope_row(line) for line in handover.without_warranty],
        "gates": numbered.by("gate-burn-in") + numbered.by("gate-witness"),
        "tally": numbered.one("tally"),
        "tally_parts": _tally_parts(handover),
        "claims": [
            {**entry, "bound": bound(claim.reliability), "of": _good_of(claim)}
            for entry, claim in zip(numbered.by("claim"), handover.claims, strict=True)
        ],
        "second_look": [entry for rule in RULES for entry in numbered.by(rule)],
        "customer_recipe": numbered.one("customer-recipe"),
        "not_said": {"statement": numbered.one("not-said"), "items": list(not_said())},
    }


def _good_of(claim: Claim) -> str:
    return f"{claim.runs - claim.failures} of {claim.runs}"


def _tally_parts(handover: Handover) -> list[list[str]]:
    tally = handover.tally
    parts = [
        ["attempts", str(tally.attempts)],
        ["counted", str(tally.counted)],
        ["void", str(tally.void)],
        ["relevant failure", str(tally.relevant_failures)],
        ["invalid", str(tally.invalid)],
    ]
    return parts + ([["aborted", str(tally.aborted)]] if tally.aborted else [])


def _scope_row(line: ScopeLine) -> Content:
    return {
        "item": line.item,
        "unit": line.unit,
        "text": line.text,
        "consequence": line.consequence or "",
    }


def identity(handover: Handover, numbered: Numbered) -> Content:
    """Give the section on identity and configuration."""
    return {
        "rows": [
            ["Shop", handover.shop],
            ["Machine", handover.machine],
            ["Head", f"{handover.head}: {handover.head_in_words}"],
            ["Other heads", ", ".join(handover.other_heads) or "none"],
            ["Limits", handover.limits_name],
            ["Software", handover.software],
        ],
        "configurations": [
            {
                "fingerprint": entry.fingerprint,
                "since": moment(entry.since),
                "what": entry.what,
            }
            for entry in handover.configurations
        ],
        "changes": numbered.by("configuration"),
    }


def scope(handover: Handover, numbered: Numbered) -> Content:
    """Give the scope in full."""
    words = {
        ScopeState.ACCEPTED: "accepted",
        ScopeState.DECLINED: "excluded",
        ScopeState.CUSTOMER_SUPPLIED: "no warranty",
    }
    return {
        "lines": [{**_scope_row(line), "state": words[line.state]} for line in handover.scope],
        "exclusions": numbered.by("exclusion"),
        "other_heads": numbered.by("other-head"),
        "no_warranty": numbered.by("no-warranty"),
    }


def plan_summary(plan: Plan) -> Content:
    """Give the summary of the plan: how many runs of which kind, over which region."""
    cells = [run.cell for run in plan.runs]
    kinds = [f"{cells.count(cell)} {cell.value}" for cell in Cell if cell in cells]
    loads = sorted({run.load.wafer_count for run in plan.runs})
    return {
        "name": plan.name,
        "rows": [
            ["Runs planned", f"{len(plan.runs)}: {', '.join(kinds)}"],
            ["Process time", f"{plan.process_time_s / 3600:.1f} h, without loading"],
            ["Top speed", _span([run.recipe.top_speed_rpm for run in plan.runs], "rpm")],
            *(
                [f"Time in {kind.value} steps", _span(_times(plan, kind), "s")]
                for kind in StepKind
                if _times(plan, kind)
            ),
            ["Wafers in a run", ", ".join(map(str, loads))],
            ["If every run counts", f"bound {bound(plan.reliability_if_clean)}"],
            ["Seed", f"{plan.seed}; the same seed and envelope give the same plan"],
            ["Share of the envelope", f"{100 * plan.feasible_share:.0f} % of its box is feasible"],
            *(["Edited by hand", text] for text in plan.edits),
        ],
        "restart_rule": plan.restart_rule,
    }


def _times(plan: Plan, kind: StepKind) -> list[float]:
    """Give the time that each run spends in steps of one kind, for runs that have any."""
    sums = [
        sum(step.duration_s for step in run.recipe.steps if step.kind is kind) for run in plan.runs
    ]
    return [total for total in sums if total]


def _span(values: Sequence[float], unit: str) -> str:
    low, high = min(values), max(values)
    return f"{plain(low)} {unit}" if low == high else f"{plain(low)} to {plain(high)} {unit}"


def wafers(count: int) -> str:
    """Give a number of wafers in words."""
    return counted(count, "wafer") if count else "no wafers"


def _issued(handover: Handover) -> str:
    """Say when it was issued, and which issue it is when there were others before."""
    at = moment(handover.issued_at)
    return at if handover.issue == 1 else f"{at}, issue {handover.issue}"
