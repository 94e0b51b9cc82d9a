"""Every error this program raises on purpose.

::

    SpinproofError
    ├── OutOfRangeError (ValueError)     a law was asked outside its range
    ├── UnitError (ValueError)           a unit is missing, unknown or of another dimension
    ├── TagError (ValueError)            a part's tag is mistyped, or is no tag
    ├── DocumentError (ValueError)       a TOML file of recipe, head, channels, limits or load
    ├── TraceError (ValueError)          a trace cannot be read, or does not hold together
    ├── JournalError (ValueError)        a recording journal is damaged beyond its tail
    ├── StandError (ConnectionError)     the test stand cannot be reached, or answers nonsense
    ├── PortInUseError (OSError)         another program listens there already
    ├── ClusterError (ConnectionError)   the cluster that should judge cannot be reached
    ├── BusyError (RuntimeError)         somebody else holds the head, the home folder or the file
    ├── StorageError (OSError)           the disk is full, missing or read-only
    ├── GateClosedError (RuntimeError)   the records do not allow this step yet
    ├── RecordError (LookupError)        the ledger holds no such record, or it contradicts another
    ├── SignInError (PermissionError)    nobody is signed in, or a proof does not hold
    ├── AccessError (PermissionError)    what was asked is not for this person
    ├── PlanError (ValueError)           no plan can be made inside this envelope
    ├── EvidenceError (ValueError)       a file cannot be taken in as evidence, or is damaged
    ├── VaultError (ValueError)          the sealed store stays shut, or was tampered with
    ├── SheetError (ValueError)          a spreadsheet cannot be read, or not without guessing
    └── PackageError (ValueError)        a package is not one, or cannot be verified

Each says what happened, where, and how to mend it, and carries a code that the exit status,
the pages' one error shape and ``docs/errors.md`` share.
"""

from typing import TYPE_CHECKING, ClassVar

if TYPE_CHECKING:  # the command line shows errors and must start without numpy
    import numpy as np
    from numpy.typing import NDArray


class SpinproofError(Exception):
    """The base of all errors raised on purpose.

    Parameters
    ----------
    what : str
        What happened, as a clause without a full stop.
    where : str
        The file, key, line, address or record it happened at.
    mend : str
        What the reader can do about it, as a sentence.
    """

    code: ClassVar[str] = "error"
    exit_status: ClassVar[int] = 1

    def __init__(self, what: str, *, where: str, mend: str) -> None:
        super().__init__(f"{what}, at {where}. {mend}")
        self.what = what
        self.where = where
        self.mend = mend


class OutOfRangeError(SpinproofError, ValueError):
    """A law was asked outside its range; ``mask`` marks the offending elements."""

    code = "out-of-range"

    def __init__(self, what: str, *, where: str, mend: str, mask: "NDArray[np.bool_]") -> None:
        super().__init__(what, where=where, mend=mend)
        self.mask = mask


class UnitError(SpinproofError, ValueError):
    """A unit is missing, unknown or of another dimension."""

    code = "unit"


class TagError(SpinproofError, ValueError):
    """The tag of a part is mistyped, or is no tag."""

    code = "tag"
    exit_status = 2


class DocumentError(SpinproofError, ValueError):
    """A recipe, head spec, channel map, limit set or load file is wrong."""

    code = "document"
    exit_status = 2


class TraceError(SpinproofError, ValueError):
    """A trace cannot be read, or does not hold together."""

    code = "trace"
    exit_status = 3


class JournalError(SpinproofError, ValueError):
    """A recording journal is damaged beyond its tail."""

    code = "journal"
    exit_status = 3


class StandError(SpinproofError, ConnectionError):
    """The test stand cannot be reached, or answers nonsense."""

    code = "stand"
    exit_status = 4


class PortInUseError(SpinproofError, OSError):
    """Another program listens on this address already."""

    code = "port-in-use"
    exit_status = 4


class ClusterError(SpinproofError, ConnectionError):
    """The cluster that should judge cannot be reached, or has no worker."""

    code = "cluster"
    exit_status = 4


class BusyError(SpinproofError, RuntimeError):
    """Somebody else holds the head, the home folder or the file."""

    code = "busy"
    exit_status = 4


class StorageError(SpinproofError, OSError):
    """The disk is full, missing or read-only."""

    code = "storage"
    exit_status = 4


class GateClosedError(SpinproofError, RuntimeError):
    """The records do not allow this step yet."""

    code = "gate-closed"


class RecordError(SpinproofError, LookupError):
    """The ledger holds no such record, or it contradicts another."""

    code = "record"
    exit_status = 2


class SignInError(SpinproofError, PermissionError):
    """Nobody is signed in, or the proof of who somebody is does not hold."""

    code = "sign-in"


class AccessError(SpinproofError, PermissionError):
    """What was asked is not for this person."""

    code = "access"


class PlanError(SpinproofError, ValueError):
    """No plan can be made inside this envelope."""

    code = "plan"
    exit_status = 2


class EvidenceError(SpinproofError, ValueError):
    """A file cannot be taken in as evidence, or one that is held is damaged."""

    code = "evidence"
    exit_status = 2


class VaultError(SpinproofError, ValueError):
    """The sealed store stays shut, or something in it was tampered with."""

    code = "vault"
    exit_status = 3


class SheetError(SpinproofError, ValueError):
    """A spreadsheet cannot be read, or not without guessing."""

    code = "sheet"
    exit_status = 2


class PackageError(SpinproofError, ValueError):
    """A package is not one, or cannot be verified at all."""

    code = "package"
    exit_status = 3
