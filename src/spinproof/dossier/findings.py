"""What a check of a package can find."""

from dataclasses import dataclass
from enum import StrEnum


class FindingKind(StrEnum):
    """What is wrong with a file of a package."""

    CHANGED = "changed"
    ADDED = "added"
    REMOVED = "removed"
    ODD_ENTRY = "odd entry"
    """A link, a device, an empty folder: all that is neither a file nor a folder of files."""
    MALFORMED_LIST = "malformed list"
    BAD_SIGNATURE = "bad signature"
    BAD_CERTIFICATE = "bad certificate"
    WRONG_FINGERPRINT = "wrong fingerprint"
    UNTRUSTED_KEY = "key not to be trusted"
    """The shop's list of release keys does not stand behind this key, or is an older one."""
    CONTRADICTION = "contradiction"
    """The file is the one that was signed, and does not agree with another one."""


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong."""

    kind: FindingKind
    file: str
    """Path inside the package."""
    text: str

    def __str__(self) -> str:
        """Give the finding as one line."""
        return f"{self.kind}: {self.file}: {self.text}"
