"""Everything that can be asked of the ledger and changed in it, within one transaction."""

from spinproof.ledger.jobs import JobRecords
from spinproof.ledger.people import PeopleRecords
from spinproof.ledger.runs import RunRecords


class Records(JobRecords, PeopleRecords, RunRecords):
    """The ledger inside a transaction: questions as in `Reading`, and every change."""
