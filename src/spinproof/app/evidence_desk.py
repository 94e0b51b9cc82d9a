"""Files taken in as evidence: cleaned of what they should not tell, and held by their hash."""

from collections.abc import Iterator
from pathlib import Path

from spinproof.app.clock import utc_now
from spinproof.app.home import Home
from spinproof.evidence.identity import ForbiddenWord
from spinproof.evidence.intake import TakenIn, take_in
from spinproof.evidence.store import EvidenceStore
from spinproof.evidence.vault import Vault, make_vault, open_vault
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import DocumentError
from spinproof.model.handover import EvidenceItem

PIECE = 1 << 20
RESERVE = 500_000_000
"""Free space that evidence leaves to the recorder. [bytes]"""


def shop_vault(home: Home) -> Vault:
    """Open the sealed store of a shop with its key file; a first call makes both."""
    if home.vault.exists():
        return open_vault(home.vault, home.vault_key)
    return make_vault(home.vault, home.vault_key)


def hold_evidence(
    home: Home, ledger: Ledger, job: str, path: Path, what: str, *, by: str
) -> EvidenceItem:
    """Take a file in as evidence of a job.

    A picture is held as its pixels alone; as it came, it goes to the sealed store.

    Raises
    ------
    DocumentError
        If the file cannot be read.
    EvidenceError
        If its content is of no kind that is taken, is too large, or its name tells too much.
    """
    try:
        with path.open("rb") as file:
            taken = receive(home, job, iter(lambda: file.read(PIECE), b""), path.name)
    except OSError as error:
        raise DocumentError(
            f"the evidence cannot be read ({error.strerror})",
            where=str(path),
            mend="Check the name and that this user may read it.",
        ) from error
    with ledger.transaction(by, utc_now()) as records:
        return records.add_evidence(job, taken.sha256, taken.name, what)


def receive(home: Home, job: str, pieces: Iterator[bytes], name: str) -> TakenIn:
    """Receive a file piece by piece into the shop's evidence, without telling the ledger."""
    vault = shop_vault(home)
    store = EvidenceStore(home.evidence, reserve=RESERVE)
    return take_in(store, vault, pieces, name=name, forbidden=forbidden_words(vault, job))


def forbidden_words(vault: Vault, job: str) -> tuple[ForbiddenWord, ...]:
    """Give what must not leave the shop with a job; none in a shop that never enters customers.

    Raises
    ------
    RecordError
        If the shop enters its customers, and has not entered the one of this job.
    """
    return vault.forbidden_words(job) if vault.aliases() else ()
