"""What a change makes invalid: the checks to repeat, the count, and the gate to go back to."""

from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import Annotated, Self

from pydantic import Field, model_validator

from spinproof.model.check import (
    LETTERS,
    CheckId,
    Checkpoint,
    CheckSheet,
    CheckTemplate,
    Text,
)
from spinproof.model.configuration import Configuration
from spinproof.model.errors import DocumentError, RecordError
from spinproof.model.limit import Basis
from spinproof.model.noun import Name, Noun
from spinproof.model.part import PositionCode, PositionSet


class ChangeKind(StrEnum):
    """What kind of thing was changed."""

    PART = "part"
    """The instance in a position."""
    SETTING = "setting"
    """A parameter or a sensor setting."""
    FIRMWARE = "firmware"
    """The controller's program."""
    LIMIT = "limit"
    """A limit that a check or a run is judged by."""


class Change(Noun):
    """One thing that was changed on a head."""

    kind: ChangeKind
    name: Name
    """Code of the position, name of the setting, identity of the program, or id of the check
    whose limit it is; for a limit of the runs, the metric."""


class CountAfter(StrEnum):
    """What becomes of the count of the burn-in."""

    KEPT = "kept"
    AS_PLANNED = "as planned"
    """As the restart rule that was signed before run 1 says; without one, from zero."""
    FROM_ZERO = "from zero"


class RetestRule(Noun):
    """One row of the matrix."""

    what: Name
    """What was changed, in words."""
    positions: Annotated[tuple[PositionCode, ...], Field(strict=False)] = ()
    settings: Annotated[tuple[Name, ...], Field(strict=False)] = ()
    """Names of parameters and sensor settings, as configurations name them."""
    kinds: Annotated[tuple[ChangeKind, ...], Field(strict=False)] = ()
    """Whole kinds of change that no other row names."""
    checks: Annotated[tuple[CheckId, ...], Field(strict=False)] = ()
    """Checks to repeat."""
    dependents: bool = False
    """Whether every check that depends on the position is repeated, on each head in scope."""
    count: CountAfter
    basis: Basis
    source: Name
    note: Text | None = None

    @model_validator(mode="after")
    def _names_something(self) -> Self:
        if not (self.positions or self.settings or self.kinds):
            msg = "a row needs positions, settings or kinds of change"
            raise ValueError(msg)
        if self.dependents == bool(self.checks) and ChangeKind.LIMIT not in self.kinds:
            msg = "a row lists its checks, or takes all dependents; one of the two"
            raise ValueError(msg)
        return self


class RetestMatrix(Noun):
    """Which change makes which checks invalid until they are repeated."""

    name: Name
    revision: Annotated[int, Field(ge=1)] = 1
    rules: Annotated[tuple[RetestRule, ...], Field(min_length=1, strict=False)]

    @model_validator(mode="after")
    def _each_change_stands_in_one_row(self) -> Self:
        for what, keys in (
            ("position", [code for rule in self.rules for code in rule.positions]),
            ("setting", [name.casefold() for rule in self.rules for name in rule.settings]),
            ("kind of change", [kind.value for rule in self.rules for kind in rule.kinds]),
        ):
            twice = sorted({key for key in keys if keys.count(key) > 1})
            if twice:
                msg = f"two rows name the same {what}: {', '.join(twice)}"
                raise ValueError(msg)
        return self


class Retest(Noun):
    """What follows from a number of changes."""

    checks: Annotated[tuple[str, ...], Field(strict=False)]
    """Ids of the checks to repeat, in the order of the checkpoints."""
    count: CountAfter
    because: Annotated[tuple[str, ...], Field(strict=False)]
    """The rows that say so, in words."""


def changes_between(
    before: Configuration, after: Configuration, positions: PositionSet
) -> tuple[Change, ...]:
    """List what differs between two configurations of a head.

    Parameters
    ----------
    before, after : Configuration
        Two configurations of one head; positions are named by code or in words.
    positions : PositionSet
        The positions of the head.

    Returns
    -------
    tuple of Change
        Parts by position code, then settings, then the program.

    Raises
    ------
    RecordError
        If a configuration names a position that the head does not have.
    """
    was, now = (
        {positions.find(place).code: tag for place, tag in configuration.parts.items()}
        for configuration in (before, after)
    )
    parts = [Change(kind=ChangeKind.PART, name=code) for code in _differing(was, now)]
    settings = [
        Change(kind=ChangeKind.SETTING, name=name)
        for name in _differing(before.settings, after.settings)
    ]
    firmware = (
        [Change(kind=ChangeKind.FIRMWARE, name=after.firmware)]
        if before.firmware != after.firmware
        else []
    )
    return (*parts, *settings, *firmware)


def checks_to_repeat(
    matrix: RetestMatrix, changes: Iterable[Change], sheets: Sequence[CheckSheet]
) -> Retest:
    """Say which checks a number of changes makes invalid, and what becomes of the count.

    Parameters
    ----------
    matrix : RetestMatrix
        The rows.
    changes : iterable of Change
        What was changed since the checks were passed.
    sheets : sequence of CheckSheet
        The checks, for rows that take all dependents.

    Returns
    -------
    Retest
        The union over all changes; empty, with the count kept, when nothing was changed.

    Raises
    ------
    RecordError
        If no row covers a change: silence of the matrix never means that nothing follows.
    """
    templates = [check for sheet in sheets for check in sheet.checks]
    ids = {check.id for check in templates}
    repeated: set[str] = set()
    counts, because = [CountAfter.KEPT], []
    for change in changes:
        rule = rule_for(matrix, change)
        repeated.update(rule.checks)
        if rule.dependents:
            repeated.update(check.id for check in templates if change.name in check.depends_on)
        if change.kind is ChangeKind.LIMIT and change.name in ids:
            repeated.add(change.name)
        counts.append(rule.count)
        if rule.what not in because:
            because.append(rule.what)
    order = list(CountAfter)
    return Retest(
        checks=tuple(sorted(repeated, key=_place)),
        count=max(counts, key=order.index),
        because=tuple(because),
    )


def earliest_gate(retest: Retest, *, plan_keeps_count: bool = False) -> Checkpoint | None:
    """Name the checkpoint that a head goes back to.

    Parameters
    ----------
    retest : Retest
        What follows from the changes.
    plan_keeps_count : bool
        Whether the restart rule that was signed before run 1 keeps the count.

    Returns
    -------
    Checkpoint or None
        The first checkpoint with a check to repeat, or the final test when only its count
        starts again; None when the head stays where it is.
    """
    gates = {point for point, letter in LETTERS.items() for i in retest.checks if i[0] == letter}
    if starts_again(retest.count, plan_keeps_count=plan_keeps_count):
        gates.add(Checkpoint.FINAL_TEST)
    return min(gates, key=lambda point: point.number, default=None)


def starts_again(count: CountAfter, *, plan_keeps_count: bool = False) -> bool:
    """Tell whether the count of the burn-in starts again from zero."""
    if count is CountAfter.AS_PLANNED:
        return not plan_keeps_count
    return count is CountAfter.FROM_ZERO


def rule_for(matrix: RetestMatrix, change: Change) -> RetestRule:
    """Give the row that covers a change: one that names it, else one for its whole kind.

    Parameters
    ----------
    matrix : RetestMatrix
        The rows.
    change : Change
        What was changed.

    Returns
    -------
    RetestRule
        The row.

    Raises
    ------
    RecordError
        If there is none.
    """
    for rule in matrix.rules:
        named = change.kind is ChangeKind.PART and change.name in rule.positions
        settings = [name.casefold() for name in rule.settings]
        set_to = change.kind is ChangeKind.SETTING and change.name.casefold() in settings
        if named or set_to:
            return rule
    for rule in matrix.rules:
        if change.kind in rule.kinds:
            return rule
    raise RecordError(
        f'no row says what a change of {change.kind} "{change.name}" makes invalid',
        where=f"re-test matrix {matrix.name}, revision {matrix.revision}",
        mend="Name it in a row of the matrix first; until then nothing may be passed.",
    )


def require_consistent(
    positions: PositionSet, sheets: Sequence[CheckSheet], matrix: RetestMatrix
) -> None:
    """Refuse positions, checks and matrix that do not fit one another.

    Parameters
    ----------
    positions : PositionSet
        The positions of the heads.
    sheets : sequence of CheckSheet
        All check sheets of the shop.
    matrix : RetestMatrix
        The re-test matrix.

    Raises
    ------
    DocumentError
        If a check or a row names a position or a check that does not exist, if a position
        stands in no row, or if row and check disagree about what depends on what.
    """
    checks = {check.id: check for sheet in sheets for check in sheet.checks}
    problems = [
        f"{check.id} names {name}, which does not exist"
        for check in checks.values()
        for name in (*check.depends_on, *check.after)
        if name not in positions.codes and name not in checks
    ]
    rows = {code: rule for rule in matrix.rules for code in rule.positions}
    problems += [f"no row covers position {code}" for code in sorted(positions.codes - set(rows))]
    problems += [
        f'row "{rule.what}" names {name}, which does not exist'
        for rule in matrix.rules
        for name in (*rule.positions, *rule.checks)
        if name not in positions.codes and name not in checks
    ]
    problems += _disagreements(checks.values(), rows)
    if problems:
        raise DocumentError(
            "; ".join(problems[:5]) + (f"; and {len(problems) - 5} more" if problems[5:] else ""),
            where=f"positions {positions.name}, re-test matrix {matrix.name} and the check sheets",
            mend="Mend the files so that they name the same positions and checks.",
        )


def _disagreements(checks: Iterable[CheckTemplate], rows: dict[str, RetestRule]) -> list[str]:
    """Where a row repeats a check that does not depend on the position, or the other way round."""
    found = []
    for check in checks:
        for code, rule in rows.items():
            depends, repeated = code in check.depends_on, check.id in rule.checks
            if depends != repeated and not rule.dependents:
                verb = "does" if depends else "does not"
                found.append(
                    f'{check.id} {verb} depend on {code}, and row "{rule.what}" '
                    f"{'leaves it out' if depends else 'repeats it'}"
                )
    return found


def _differing(before: dict[str, str], after: dict[str, str]) -> list[str]:
    return [name for name in {**before, **after} if before.get(name) != after.get(name)]


def _place(check_id: str) -> tuple[int, str]:
    checkpoint = next(point for point, letter in LETTERS.items() if letter == check_id[0])
    return checkpoint.number, check_id
