"""What can be done in the ledger, and the table that each act changes."""

from typing import cast

from sqlalchemy import Table

from spinproof.ledger import people_tables, shop_tables, tables

ACTS: dict[str, type[tables.Base]] = {
    "job.add": tables.Job,
    "machine.add": tables.Machine,
    "unit.add": tables.Unit,
    "scope.add": tables.ScopeItem,
    "scope.change": tables.ScopeItem,
    "document.keep": tables.Document,
    "configuration.set": tables.ConfigurationChange,
    "campaign.open": tables.Campaign,
    "campaign.close": tables.Campaign,
    "run.start": tables.Run,
    "run.finish": tables.Run,
    "run.judge": tables.JudgementRow,
    "run.classify": tables.Classification,
    "evidence.add": tables.Evidence,
    "anchor.note": tables.Anchor,
    "ledger.restore": tables.Restoration,
    **people_tables.ACTS,
    **shop_tables.ACTS,
}
"""Every act that the audit trail may tell of. Replaying the trail needs the table."""


def table_of(act: str) -> Table:
    """Give the table that an act changes.

    Parameters
    ----------
    act : str
        The act.

    Returns
    -------
    Table
        The table.
    """
    return cast("Table", ACTS[act].__table__)
