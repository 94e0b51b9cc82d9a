"""A program of its own that changes a ledger and says each change that it was told is kept."""

import os
import sys

from tests.demo_files import JOB
from tests.ledger.cases import AT, later

from spinproof.ledger.ledger import open_ledger


def main(url: str, changes: int) -> None:
    """Make so many changes, each in a transaction of its own."""
    ledger = open_ledger(url, at=AT)
    for i in range(changes):
        with ledger.transaction("TT-1", later(60)) as records:
            records.add_evidence(JOB.job, f"{i:064x}", f"{i}.txt", "one of many")
        os.write(sys.stdout.fileno(), b"kept\n")
    ledger.close()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
