"""The dossier as PDF: content and figures, laid out by a template in a process of its own."""

import json
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from spinproof.dossier import front_pages, run_pages
from spinproof.dossier.front_pages import Content, Numbered
from spinproof.dossier.instructions import NOT_PROVEN, steps
from spinproof.dossier.soundness import all_records
from spinproof.dossier.statements import Statement
from spinproof.dossier.wording import refuse_promises
from spinproof.figures.marks import outcome_mark, verdict_mark
from spinproof.figures.outcome_strip import outcome_strip
from spinproof.figures.run_figure import run_figure
from spinproof.figures.run_strip import LETTERS, run_strip
from spinproof.files.durable import storage_errors
from spinproof.model.errors import PackageError
from spinproof.model.handover import Handover, RunRecord
from spinproof.model.judgement import Verdict
from spinproof.model.run import Outcome

TEMPLATES = ("document.typ", "parts.typ")
"""Files of the template, the one that is typeset first."""
TIME_LIMIT_S = 300.0

CAUTIONS = (
    "Rotor energy: a rotor at speed takes about a minute to coast down and can throw what comes"
    " loose. Never defeat a guard or a lock; wait for standstill.",
    "Door: this document reports in what order things happened. It never says that a door is"
    " safe to open; the hard-wired interlock decides that, and nothing here replaces it.",
    "Nitrogen displaces air without warning. Exhaust and room need ventilation and an oxygen"
    " alarm; never put your head into a bowl.",
    "Pressure and heat: vent, drain and let cool before a fitting is opened.",
    "Mains: lock out and verify absence of voltage before a cover is opened.",
    "Work on heads that are excluded here is not covered: leave them without energy.",
    "Local codes and licensed practice come first, wherever they differ from this document.",
)


@dataclass(frozen=True)
class Seal:
    """What the document tells about the package that it lies in."""

    evidence_sha256: str
    """SHA-256 of evidence.json."""
    fingerprint: str
    """Fingerprint of the certificate, in groups."""
    listed_files: int
    """How many files the list of sums names."""


def render_document(handover: Handover, statements: tuple[Statement, ...], seal: Seal) -> bytes:
    """Give the dossier as PDF/A-2a, the same bytes for the same arguments.

    Parameters
    ----------
    handover : Handover
        The records.
    statements : tuple of Statement
        The statements made from them.
    seal : Seal
        What it tells about its package; the sum of evidence.json is a keyword as well.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    PackageError
        If a text promises more than records can hold, or the document cannot be laid out.

    Notes
    -----
    StorageError says when there is no room for temporary files.
    """
    content = document_content(handover, Numbered(statements), seal)
    refuse_promises(content, "dossier.pdf")
    with tempfile.TemporaryDirectory(prefix="spinproof-dossier-") as name:
        root = Path(name)
        with storage_errors(root):
            _fill(root, figures(handover))
            return _typeset(root, json.dumps(content))


def document_content(handover: Handover, numbered: Numbered, seal: Seal) -> Content:
    """Give all text of the document, ready to be printed."""
    issued = datetime.fromisoformat(handover.issued_at).astimezone(UTC)
    return {
        "title": f"Dossier of head {handover.head}, job {handover.job}",
        "shop": handover.shop,
        "running": f"{handover.job} · head {handover.head} · {handover.order}",
        "date": [issued.year, issued.month, issued.day, issued.hour, issued.minute, issued.second],
        "simulated": handover.simulated,
        "evidence_sha256": seal.evidence_sha256,
        "fingerprint": seal.fingerprint,
        "front": front_pages.front(handover, numbered),
        "identity": front_pages.identity(handover, numbered),
        "scope": front_pages.scope(handover, numbered),
        "plan": front_pages.plan_summary(handover.plan),
        "attempts": run_pages.attempt_rows(handover),
        "letters": ", ".join(f"{letter} {name}" for name, letter in LETTERS.items()),
        "strips": [run_pages.strip_entry(record) for record in handover.runs],
        "witness": (
            run_pages.run_in_full(handover.witness, passed_too=True) if handover.witness else None
        ),
        "not_counted": run_pages.not_counted(handover, numbered),
        "no_conformity": numbered.one("no-conformity"),
        "instruments": [list(row) for row in handover.instruments],
        "evidence": [
            {"sha256": item.sha256, "name": item.name, "what": item.what, "who": item.who}
            for item in handover.evidence
        ],
        "audit": {"entries": str(handover.audit_entries), "head": handover.audit_head},
        "verify": [list(step) for step in steps(seal.listed_files)],
        "not_proven": list(NOT_PROVEN),
        "cautions": list(CAUTIONS),
    }


def typeset_texts(
    handover: Handover, statements: tuple[Statement, ...], seal: Seal
) -> dict[str, str]:
    """Give what the document is typeset from: its pages hold numbers of glyphs, not letters.

    Parameters
    ----------
    handover, statements, seal : Handover, tuple of Statement, Seal
        As for the document.

    Returns
    -------
    dict of str to str
        Its texts and each of its figures, by what a message calls them.
    """
    content = document_content(handover, Numbered(statements), seal)
    drawn = {f"figure {name}": svg for name, svg in figures(handover).items()}
    return {"its text": json.dumps(content, ensure_ascii=False), **drawn}


def figures(handover: Handover) -> dict[str, str]:
    """Give all figures of the document, by file name."""
    drawn = {"outcomes.svg": outcome_strip(handover.attempts, simulated=handover.simulated)}
    for attempt in (*handover.attempts, *(record.attempt for record in all_records(handover))):
        mark = outcome_mark(attempt.outcome, void=attempt.void)
        drawn[run_pages.mark_file(attempt)] = mark
    for record in all_records(handover):
        attempt = record.attempt
        if attempt.outcome is not Outcome.COUNTED or record is handover.witness:
            drawn[f"full-{attempt.run}.svg"] = _full_figure(record, simulated=handover.simulated)
    drawn |= {run_pages.verdict_file(verdict): verdict_mark(verdict) for verdict in Verdict}
    return drawn | _strips(handover)


def _full_figure(record: RunRecord, *, simulated: bool) -> str:
    attempt, judgement = record.attempt, record.judgement
    return run_figure(
        record.series,
        recipe=record.recipe,
        segments=judgement.segments,
        events=judgement.events,
        title=f"Run {attempt.run}, recipe {attempt.recipe_name}",
        alt=f"All quantities over time. {run_pages.strip_alt(record)}",
        simulated=simulated,
    )


def _strips(handover: Handover) -> dict[str, str]:
    """Draw each run on the axes of the longest and the fastest one, with a little room."""
    speeds = [(s.time_s, s.values) for r in handover.runs for s in r.series if s.unit == "rpm"]
    duration = 1.06 * max((time[-1] for time, _ in speeds if time), default=1.0)
    turned = max((v for _, values in speeds for v in values if v is not None), default=1.0)
    top = max(0.97 * turned, *(record.recipe.top_speed_rpm for record in handover.runs))
    return {
        f"strip-{record.attempt.run}.svg": run_strip(
            record.series,
            segments=record.judgement.segments,
            events=record.judgement.events,
            duration_s=duration,
            top_speed_rpm=top,
            alt=run_pages.strip_alt(record),
            simulated=handover.simulated,
        )
        for record in handover.runs
    }


def _fill(root: Path, drawn: dict[str, str]) -> None:
    """Put into the root what the template may read, and nothing else."""
    here = Path(__file__).parent
    for name in TEMPLATES:
        (root / name).write_bytes((here / name).read_bytes())
    for name, svg in drawn.items():
        (root / name).write_text(svg, "utf-8")


def _typeset(root: Path, data: str) -> bytes:
    """Lay the document out in a child process: the engine keeps what it has once allocated.

    Raises
    ------
    PackageError
        If the engine refuses, or does not come to an end.
    """
    output = root / "dossier.pdf"
    module = [sys.executable, "-m", "spinproof.dossier.typesetting"]
    try:
        done = subprocess.run(  # noqa: S603 - our own module, in a folder that we made
            [*module, str(root / TEMPLATES[0]), str(output)],
            input=data,
            capture_output=True,
            encoding="utf-8",
            timeout=TIME_LIMIT_S,
            check=False,
        )
        refusal = (done.stderr.strip() or "the process died") if done.returncode else None
    except subprocess.TimeoutExpired:
        refusal = f"it took longer than {TIME_LIMIT_S:.0f} s"
    if refusal is not None:
        shown = " ".join(refusal.split())
        raise PackageError(
            f"the document cannot be laid out: {shown[:300]}",
            where=output.name,
            mend="Look in the records for the character or value that the message names.",
        )
    return output.read_bytes()
