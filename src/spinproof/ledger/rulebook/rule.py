"""What a rule is."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum

from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.shop_entries import Action, Step
from spinproof.model.check import Checkpoint


class Force(StrEnum):
    """What a rule does when it is broken."""

    ALWAYS = "refuses"
    """No record is stored that would break it."""
    GATE = "closes gates"
    """The steps that it names stay closed."""
    PRINTS = "prints"
    """What it says is printed beside the records; nothing is refused."""


Check = Callable[[HeadFile, Step], tuple[str, ...]]


@dataclass(frozen=True)
class Rule:
    """One rule of the shop."""

    id: str
    """R01 to R45."""
    text: str
    """The rule in a sentence or two."""
    force: Force
    where: str
    """Where it is enforced."""
    check: Check
    """Sentences of what stands against it in a file; empty when nothing does."""
    entering: frozenset[Step] = frozenset()
    """Steps that nobody enters while it is broken."""
    passing: frozenset[Step] = frozenset()
    """Checkpoints that nobody passes while it is broken."""
    full_process_only: bool = True
    """Whether it leaves jobs of burn-in only alone."""
    simplest_form: str | None = None
    """What of the rule has to wait for records that do not exist yet."""

    def broken(self, file: HeadFile, step: Step) -> tuple[str, ...]:
        """Give the sentences of what stands against it in a head's file, for a step."""
        if self.full_process_only and not file.is_full:
            return ()
        return self.check(file, step)


ALL_CHECKPOINTS: frozenset[Step] = frozenset(Checkpoint)
ALL_STEPS: frozenset[Step] = frozenset([*Checkpoint, *Action])


def from_checkpoint(first: Checkpoint) -> frozenset[Step]:
    """Give a checkpoint and all that come after it."""
    return frozenset(point for point in Checkpoint if point.number >= first.number)


def listed(items: Iterable[str], most: int = 4) -> str:
    """Write a list of names, cut short when it is long.

    Parameters
    ----------
    items : iterable of str
        The names.
    most : int
        How many are written out.

    Returns
    -------
    str
        For example "VDI, RTR and 3 more".
    """
    names = list(items)
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return f"{', '.join(names[:most])}{more}"
