"""After a crash: every recording that nobody finished is sealed at the next start."""

from dataclasses import dataclass
from pathlib import Path

from spinproof.files.durable import storage_errors, sync_folder
from spinproof.files.lock import hold
from spinproof.model.errors import BusyError, JournalError, TraceError
from spinproof.model.trace import Trace
from spinproof.record.journal import SUFFIX
from spinproof.record.journal_reading import has_frames
from spinproof.record.trace_file import seal_journal


@dataclass(frozen=True)
class Recovery:
    """What became of one journal.

    Attributes
    ----------
    journal : Path
        The journal.
    trace : Trace or None
        What was sealed, or None when there was nothing to seal, or it could not be sealed.
    problem : JournalError or TraceError or None
        Why it could not be sealed; the journal then stays where it is.
    """

    journal: Path
    trace: Trace | None = None
    problem: JournalError | TraceError | None = None


def recover_journals(journals: Path, traces: Path) -> tuple[Recovery, ...]:
    """Seal every journal whose recorder is gone.

    Parameters
    ----------
    journals : Path
        Folder of the journals.
    traces : Path
        Folder of the sealed traces.

    Returns
    -------
    tuple of Recovery
        One per journal, in the order of their names; runs that are being recorded at this moment
        are left alone and not named. A journal that holds no whole frame is removed: its recorder
        died before the run was announced.
    """
    with storage_errors(journals):
        paths = sorted(path for path in journals.iterdir() if path.name.endswith(SUFFIX))
    recovered = []
    for path in paths:
        try:
            recovered.append(_recover(path, traces))
        except BusyError:
            continue
    return tuple(recovered)


def _recover(path: Path, traces: Path) -> Recovery:
    try:
        return Recovery(path, trace=seal_journal(path, traces))
    except (JournalError, TraceError) as problem:
        with hold(path, path.name), storage_errors(path):
            if has_frames(path):
                return Recovery(path, problem=problem)
            path.unlink()
            sync_folder(path.parent)
            return Recovery(path)
