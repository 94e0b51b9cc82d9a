"""A signed head as a file beside a backup or an export."""

import json
from dataclasses import dataclass

from spinproof.files.canonical import canonical_json
from spinproof.ledger.heads import SignedHead, TreeHead
from spinproof.model.errors import RecordError


@dataclass(frozen=True)
class FiledHead:
    """A head with when it was taken, and by which release."""

    signed: SignedHead
    at: str
    software: str

    def to_bytes(self) -> bytes:
        """Give the file: canonical JSON."""
        return canonical_json(
            {
                "at": self.at,
                "head": self.signed.head.to_document(),
                "public_key": self.signed.public_key,
                "signature": self.signed.signature,
                "software": self.software,
            }
        )


def read_filed_head(data: bytes, where: str) -> FiledHead:
    """Read the file of a head.

    Parameters
    ----------
    data : bytes
        The file.
    where : str
        Its path, for the message.

    Returns
    -------
    FiledHead
        The head; its signature fits the key beside it.

    Raises
    ------
    RecordError
        If it is no such file, or was changed.
    """
    mend = "Take another copy of this backup or export."
    try:
        document = json.loads(data)
        told = document["head"]
        head = TreeHead(str(told["log"]), int(told["size"]), str(told["root"]))
        signed = SignedHead(head, str(document["signature"]), str(document["public_key"]))
        filed = FiledHead(signed, str(document["at"]), str(document["software"]))
    except (ValueError, KeyError, TypeError) as error:
        raise RecordError("this is no head of an audit trail", where=where, mend=mend) from error
    if not signed.is_genuine or told != head.to_document():
        raise RecordError("the head does not fit its signature", where=where, mend=mend)
    return filed
