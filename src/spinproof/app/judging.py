"""Judge a trace from its file."""

from pathlib import Path

from spinproof.files.canonical import canonical_json
from spinproof.files.durable import write_durably
from spinproof.judge.judging import judge
from spinproof.model.head import HeadSpec
from spinproof.model.judgement import Judgement
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load
from spinproof.model.recipe import Recipe
from spinproof.record.trace_file import read_trace


def judge_file(
    path: Path,
    limits: LimitSet,
    *,
    recipe: Recipe | None = None,
    head: HeadSpec | None = None,
    load: Load | None = None,
) -> Judgement:
    """Judge a sealed trace.

    Parameters
    ----------
    path : Path
        The sealed trace.
    limits : LimitSet
        What to judge against.
    recipe, head, load : Recipe, HeadSpec, Load, optional
        What was agreed; without them, what was sealed with the trace.

    Returns
    -------
    Judgement
        The same inputs give the same bytes.

    Raises
    ------
    TraceError
        If the file is not a sealed trace, or is damaged.
    """
    trace = read_trace(path)
    return judge(
        trace,
        recipe or trace.header.recipe,
        head or trace.header.head,
        limits,
        load or trace.header.load,
    )


def judgement_bytes(judgement: Judgement) -> bytes:
    """Give a judgement as canonical JSON (RFC 8785)."""
    return canonical_json(judgement.to_document())


def write_judgement(judgement: Judgement, path: Path) -> None:
    """Write a judgement as canonical JSON."""
    write_durably(path, judgement_bytes(judgement))
