"""Everything that can be asked of the ledger and changed in it, within one transaction."""

from spinproof.ledger.calculations import CalculationRecords
from spinproof.ledger.gates import GateRecords
from spinproof.ledger.instruments import InstrumentRecords
from spinproof.ledger.jobs import JobRecords
from spinproof.ledger.people import PeopleRecords
from spinproof.ledger.runs import RunRecords
from spinproof.ledger.trail import TrailRecords


class Records(
    JobRecords,
    PeopleRecords,
    RunRecords,
    GateRecords,
    InstrumentRecords,
    CalculationRecords,
    TrailRecords,
):
    """The ledger inside a transaction: questions as in `Reading`, and every change."""
