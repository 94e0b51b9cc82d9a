"""All rules, and what follows from them together."""

from spinproof.ledger.head_file import HeadFile
from spinproof.ledger.rulebook.configuration import CONFIGURATION
from spinproof.ledger.rulebook.identity import IDENTITY
from spinproof.ledger.rulebook.measurement import MEASUREMENT
from spinproof.ledger.rulebook.passage import PASSAGE
from spinproof.ledger.rulebook.rule import Force, Rule
from spinproof.ledger.rulebook.running import RUNNING
from spinproof.ledger.rulebook.safety import SAFETY
from spinproof.ledger.rulebook.showing import SHOWING
from spinproof.ledger.shop_entries import Step
from spinproof.model.check import Checkpoint
from spinproof.model.errors import GateClosedError

RULES: tuple[Rule, ...] = (
    *IDENTITY,
    *CONFIGURATION,
    *PASSAGE,
    *MEASUREMENT,
    *RUNNING,
    *SAFETY,
    *SHOWING,
)
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


def require_kept(file: HeadFile, before: tuple[tuple[Rule, str], ...] = ()) -> None:
    """Refuse a change that would break a rule.

    Parameters
    ----------
    file : HeadFile
        Records of a head as they would be.
    before : tuple of Rule and str
        What was broken already.

    Raises
    ------
    GateClosedError
        If a rule is newly broken; the message gives the rule.
    """
    for rule, sentence in breaches(file):
        if (rule, sentence) not in before:
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
