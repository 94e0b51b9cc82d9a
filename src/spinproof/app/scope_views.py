"""What the page of a job's scope may show: what was recommended, and what the customer chose."""

from dataclasses import dataclass

from spinproof.ledger.entries import JobEntry, UnitEntry, UnitKind
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.shop_entries import MatterEntry, ScopeEntry, ScopeStepEntry
from spinproof.ledger.shop_reading import ShopReading
from spinproof.ledger.states import BY_CHANGE_ORDER, SCOPE, ChangeOrderState, allowed
from spinproof.model.handover import ScopeState
from spinproof.model.job import Process
from spinproof.model.matter import ChangeOrder, Finding, MatterKind
from spinproof.model.part import Belongs

CHOICES = (ScopeState.ACCEPTED, ScopeState.DECLINED, ScopeState.CUSTOMER_SUPPLIED)

_ORDER = (
    ScopeState.RECOMMENDED,
    ScopeState.PROPOSED,
    ScopeState.DEFERRED,
    ScopeState.DECLINED,
    ScopeState.WITHDRAWN,
    ScopeState.CUSTOMER_SUPPLIED,
    ScopeState.ACCEPTED,
    ScopeState.DONE,
)
"""Lines that wait for an answer stand first, what is excluded next."""


@dataclass(frozen=True)
class ScopeRow:
    """A line of the scope with what may become of it."""

    entry: ScopeEntry
    position_name: str | None
    came_from: tuple[str, ...]
    """Findings that it came from, each as name and text."""
    next_states: tuple[ScopeState, ...]
    by_order: frozenset[ScopeState]
    """Those of them that need an accepted change order."""

    @property
    def is_excluded(self) -> bool:
        """Whether a document calls it an exclusion."""
        return self.entry.state.printed is ScopeState.DECLINED

    @property
    def is_undecided(self) -> bool:
        """Whether the customer has not chosen yet."""
        waiting = {ScopeState.PROPOSED, ScopeState.RECOMMENDED, ScopeState.DEFERRED}
        return self.entry.state in waiting

    @property
    def chosen(self) -> ScopeStepEntry | None:
        """The step by which it became what it is."""
        return self.entry.steps[-1] if self.entry.steps else None


@dataclass(frozen=True)
class UnitRows:
    """The lines of one head, shared module or spare part."""

    unit: UnitEntry
    rows: tuple[ScopeRow, ...]
    positions: tuple[str, ...]
    """Its positions, each as code and name."""


@dataclass(frozen=True)
class OrderView:
    """A change order."""

    name: str
    text: str
    price: str | None
    days: int | None
    state: str
    token: str | None
    """What shows that the customer accepted it."""
    who: str
    opened_at: str

    @property
    def waits(self) -> bool:
        """Whether the customer has not answered yet."""
        return self.state == ChangeOrderState.PROPOSED.value


@dataclass(frozen=True)
class ScopeView:
    """The scope of a job."""

    job: JobEntry
    full: bool
    """Whether every checkpoint is in the record; else the scope was agreed before it began."""
    units: tuple[UnitRows, ...]
    orders: tuple[OrderView, ...]
    evidence: tuple[tuple[str, str], ...]
    """Name and SHA-256 of the job's evidence."""

    @property
    def rows(self) -> tuple[ScopeRow, ...]:
        """All lines."""
        return tuple(row for unit in self.units for row in unit.rows)

    @property
    def excluded(self) -> tuple[ScopeRow, ...]:
        """What a document of today would call excluded, what was declined before the rest."""
        return tuple(sorted((r for r in self.rows if r.is_excluded), key=lambda r: r.is_undecided))

    @property
    def undecided(self) -> tuple[ScopeRow, ...]:
        """What the customer has not answered; until then it is excluded too."""
        return tuple(row for row in self.rows if row.is_undecided)

    @property
    def supplied(self) -> tuple[ScopeRow, ...]:
        """What the customer supplies, without the shop's warranty."""
        return tuple(r for r in self.rows if r.entry.state is ScopeState.CUSTOMER_SUPPLIED)

    @property
    def accepted_orders(self) -> tuple[str, ...]:
        """Names of the change orders that a step may stand on."""
        accepted = ChangeOrderState.ACCEPTED.value
        return tuple(order.name for order in self.orders if order.state == accepted)

    def row(self, item: str) -> ScopeRow | None:
        """Give one line."""
        return next((row for row in self.rows if row.entry.item == item), None)


def scope_of(ledger: Ledger, job: str) -> ScopeView:
    """Give the scope of a job.

    Parameters
    ----------
    ledger : Ledger
        The records.
    job : str
        Name of the job.

    Returns
    -------
    ScopeView
        Its lines by head, its change orders.

    Raises
    ------
    RecordError
        If there is no such job.
    """
    with ledger.reading() as records:
        entry = records.job(job)
        full = records.terms(job).process is Process.FULL
        findings = records.matters(job, MatterKind.FINDING)
        items = records.scope_items(job)
        return ScopeView(
            job=entry,
            full=full,
            units=tuple(
                _unit(records, unit, items, findings, full=full) for unit in records.units(job)
            ),
            orders=tuple(_order(m) for m in records.matters(job, MatterKind.CHANGE_ORDER)),
            evidence=tuple((item.name, item.sha256) for item in records.evidence(job)),
        )


def _unit(
    records: ShopReading,
    unit: UnitEntry,
    items: tuple[ScopeEntry, ...],
    findings: tuple[MatterEntry, ...],
    *,
    full: bool,
) -> UnitRows:
    rules = records.shop_rules(unit.job)
    belongs = Belongs.SHARED if unit.kind is UnitKind.SHARED_MODULE else Belongs.HEAD
    spare = unit.kind is UnitKind.SPARE
    places = rules.positions.of(belongs) if rules is not None and not spare else ()
    names = {place.code: place.name for place in places}
    rows = [
        _row(line, names, findings, full=full) for line in items if line.unit == unit.designation
    ]
    return UnitRows(
        unit=unit,
        rows=tuple(sorted(rows, key=lambda row: (_ORDER.index(row.entry.state), row.entry.item))),
        positions=tuple(f"{place.code} {place.name}" for place in places),
    )


def _row(
    line: ScopeEntry,
    names: dict[str, str],
    findings: tuple[MatterEntry, ...],
    *,
    full: bool,
) -> ScopeRow:
    came_from = tuple(
        f"{matter.name}: {matter.content.text}"
        for matter in findings
        if isinstance(matter.content, Finding)
        and any(step.detail.scope_item == line.item for step in matter.steps)
    )
    following = (
        tuple(ScopeState(state) for state in allowed(SCOPE, line.state))
        if full
        else tuple(state for state in CHOICES if state is not line.state)
    )
    return ScopeRow(
        entry=line,
        position_name=names.get(line.position or ""),
        came_from=came_from,
        next_states=following,
        by_order=frozenset(s for s in following if full and (line.state, s) in BY_CHANGE_ORDER),
    )


def _order(matter: MatterEntry) -> OrderView:
    content = matter.content
    if not isinstance(content, ChangeOrder):
        raise TypeError(f"{matter.name} is no change order")
    tokens = [step.detail.token for step in matter.steps if step.detail.token]
    return OrderView(
        name=matter.name,
        text=content.text,
        price=content.price_delta,
        days=content.days_delta,
        state=matter.state.value,
        token=tokens[-1] if tokens else None,
        who=matter.opened.who,
        opened_at=matter.opened.done_at,
    )
