"""All rules, and what follows from them together."""

from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.rule import Force, Rule
from spinproof.ledger.shop_entries import Step
from spinproof.model.check import Checkpoint
from spinproof.model.errors import GateClosedError

RULES: tuple[Rule, ...] = ()
"""In order of their numbers."""


def breaches(file: HeadFile) -> tuple[tuple[Rule, str], ...]:
    """Give what no file may ever hold, with the rule that it breaks.

    Parameters
    ----------
    file : HeadFile
        Records of a head.

    Returns
    -------
    tuple of Rule and str
        Empty for every file that the ledger can get into.
    """
    return tuple(
        (rule, sentence)
        for rule in RULES
        if rule.force is Force.ALWAYS
        for sentence in rule.broken(file, Checkpoint.INCOMING)
    )


def require_kept(file: HeadFile) -> None:
    """Refuse a change that would break a rule.

    Parameters
    ----------
    file : HeadFile
        Records of a head as they would be.

    Raises
    ------
    GateClosedError
        If a rule is broken; the message gives the rule.
    """
    for rule, sentence in breaches(file):
        raise GateClosedError(
            sentence.removesuffix("."), where=file.where, mend=f"Rule {rule.id}: {rule.text}"
        )


def closes_entry(file: HeadFile, step: Step) -> tuple[tuple[Rule, str], ...]:
    """Give what keeps anybody from entering a step, with the rule that says so.

    Parameters
    ----------
    file : HeadFile
        Records of a head.
    step : Step
        A checkpoint or an action.

    Returns
    -------
    tuple of Rule and str
        Empty when no rule stands in the way.
    """
    return tuple(
        (rule, sentence)
        for rule in RULES
        if rule.force is Force.GATE and step in rule.entering
        for sentence in rule.broken(file, step)
    )


def closes_gate(file: HeadFile, checkpoint: Checkpoint) -> tuple[tuple[Rule, str], ...]:
    """Give what keeps a checkpoint from being passed, with the rule that says so.

    Parameters
    ----------
    file : HeadFile
        Records of a head.
    checkpoint : Checkpoint
        The checkpoint.

    Returns
    -------
    tuple of Rule and str
        Empty when no rule stands in the way.
    """
    return tuple(
        (rule, sentence)
        for rule in RULES
        if rule.force is Force.GATE and checkpoint in rule.passing
        for sentence in rule.broken(file, checkpoint)
    )


def printed_beside(file: HeadFile, step: Step) -> tuple[tuple[Rule, str], ...]:
    """Give what must be said beside a step though it refuses nothing.

    Parameters
    ----------
    file : HeadFile
        Records of a head.
    step : Step
        A checkpoint or an action.

    Returns
    -------
    tuple of Rule and str
        Sentences to print.
    """
    return tuple(
        (rule, sentence)
        for rule in RULES
        if rule.force is Force.PRINTS and step in {*rule.entering, *rule.passing}
        for sentence in rule.broken(file, step)
    )
