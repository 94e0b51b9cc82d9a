"""What may become of what: the state machines of the shop, as data."""

from collections.abc import Mapping
from enum import StrEnum

from spinproof.model.errors import GateClosedError
from spinproof.model.handover import ScopeState
from spinproof.model.matter import MatterKind

Machine = Mapping[StrEnum, frozenset[StrEnum]]
"""For each state, in order, the states that may follow it; the first is where it begins."""


class PartState(StrEnum):
    """What a part is in."""

    IN_POSITION = "in position"
    REMOVED = "removed"
    INSPECTION = "under inspection"
    CLEANING = "cleaning"
    REPAIR = "repair"
    STOCK = "stock"
    SCRAPPED = "scrapped"
    """Final: neither the part nor its tag is used again."""
    RETURNED = "returned to customer"
    """Final."""


class FindingState(StrEnum):
    """How far a finding has come."""

    OPEN = "open"
    OFFERED = "offered"
    """It became a line of the scope."""
    SETTLED = "settled"


class NonconformanceState(StrEnum):
    """How far a nonconformance has come."""

    OPEN = "open"
    CONTAINED = "contained"
    DISPOSITIONED = "dispositioned"
    ACTIONED = "actioned"
    VERIFIED = "verified"
    CLOSED = "closed"


class WaiverState(StrEnum):
    """How far a waiver has come."""

    ASKED = "asked"
    APPROVED_BY_SHOP = "approved by the shop"
    IN_FORCE = "in force"
    """The customer approved it too."""
    REFUSED = "refused"
    WITHDRAWN = "withdrawn"


class ChangeOrderState(StrEnum):
    """How far a change order has come."""

    PROPOSED = "proposed"
    ACCEPTED = "accepted"
    REFUSED = "refused"


class LockoutState(StrEnum):
    """Whether a lock is on."""

    OPEN = "open"
    REMOVED = "removed"


class BypassState(StrEnum):
    """Whether an interlock is bridged."""

    ACTIVE = "active"
    REMOVED = "removed"


SCOPE: Machine = {
    ScopeState.PROPOSED: frozenset({ScopeState.RECOMMENDED}),
    ScopeState.RECOMMENDED: frozenset(
        {
            ScopeState.ACCEPTED,
            ScopeState.DECLINED,
            ScopeState.CUSTOMER_SUPPLIED,
            ScopeState.DEFERRED,
        }
    ),
    ScopeState.ACCEPTED: frozenset({ScopeState.DONE, ScopeState.WITHDRAWN}),
    ScopeState.DECLINED: frozenset({ScopeState.ACCEPTED}),
    ScopeState.CUSTOMER_SUPPLIED: frozenset(),
    ScopeState.DEFERRED: frozenset({ScopeState.RECOMMENDED}),
    ScopeState.DONE: frozenset(),
    ScopeState.WITHDRAWN: frozenset(),
}
BY_CHANGE_ORDER = frozenset(
    {
        (ScopeState.ACCEPTED, ScopeState.WITHDRAWN),
        (ScopeState.DECLINED, ScopeState.ACCEPTED),
    }
)
"""Steps of the scope that need an accepted change order."""

_ELSEWHERE = frozenset(
    {
        PartState.INSPECTION,
        PartState.CLEANING,
        PartState.REPAIR,
        PartState.STOCK,
        PartState.SCRAPPED,
        PartState.RETURNED,
    }
)
PART: Machine = {
    PartState.IN_POSITION: frozenset({PartState.REMOVED}),
    PartState.REMOVED: _ELSEWHERE | {PartState.IN_POSITION},
    PartState.INSPECTION: (_ELSEWHERE - {PartState.INSPECTION}) | {PartState.IN_POSITION},
    PartState.CLEANING: (_ELSEWHERE - {PartState.CLEANING}) | {PartState.IN_POSITION},
    PartState.REPAIR: (_ELSEWHERE - {PartState.REPAIR}) | {PartState.IN_POSITION},
    PartState.STOCK: (_ELSEWHERE - {PartState.STOCK}) | {PartState.IN_POSITION},
    PartState.SCRAPPED: frozenset(),
    PartState.RETURNED: frozenset(),
}

FINDING: Machine = {
    FindingState.OPEN: frozenset({FindingState.OFFERED, FindingState.SETTLED}),
    FindingState.OFFERED: frozenset({FindingState.SETTLED}),
    FindingState.SETTLED: frozenset({FindingState.OPEN}),
}

NONCONFORMANCE: Machine = {
    NonconformanceState.OPEN: frozenset({NonconformanceState.CONTAINED}),
    NonconformanceState.CONTAINED: frozenset({NonconformanceState.DISPOSITIONED}),
    NonconformanceState.DISPOSITIONED: frozenset({NonconformanceState.ACTIONED}),
    NonconformanceState.ACTIONED: frozenset(
        {NonconformanceState.VERIFIED, NonconformanceState.OPEN}
    ),
    NonconformanceState.VERIFIED: frozenset({NonconformanceState.CLOSED, NonconformanceState.OPEN}),
    NonconformanceState.CLOSED: frozenset({NonconformanceState.OPEN}),
}

WAIVER: Machine = {
    WaiverState.ASKED: frozenset({WaiverState.APPROVED_BY_SHOP, WaiverState.REFUSED}),
    WaiverState.APPROVED_BY_SHOP: frozenset({WaiverState.IN_FORCE, WaiverState.REFUSED}),
    WaiverState.IN_FORCE: frozenset({WaiverState.WITHDRAWN}),
    WaiverState.REFUSED: frozenset(),
    WaiverState.WITHDRAWN: frozenset(),
}

CHANGE_ORDER: Machine = {
    ChangeOrderState.PROPOSED: frozenset({ChangeOrderState.ACCEPTED, ChangeOrderState.REFUSED}),
    ChangeOrderState.ACCEPTED: frozenset(),
    ChangeOrderState.REFUSED: frozenset(),
}

LOCKOUT: Machine = {
    LockoutState.OPEN: frozenset({LockoutState.REMOVED}),
    LockoutState.REMOVED: frozenset(),
}

BYPASS: Machine = {
    BypassState.ACTIVE: frozenset({BypassState.REMOVED}),
    BypassState.REMOVED: frozenset(),
}

MATTERS: Mapping[MatterKind, Machine] = {
    MatterKind.FINDING: FINDING,
    MatterKind.NONCONFORMANCE: NONCONFORMANCE,
    MatterKind.WAIVER: WAIVER,
    MatterKind.CHANGE_ORDER: CHANGE_ORDER,
    MatterKind.LOCKOUT: LOCKOUT,
    MatterKind.BYPASS: BYPASS,
}
"""The machine of each kind of matter; its first state is the one it is opened in."""


def first_state(kind: MatterKind) -> StrEnum:
    """Give the state in which a matter is opened."""
    return next(iter(MATTERS[kind]))


def state_of(kind: MatterKind, name: str) -> StrEnum:
    """Give a state of a matter by its words."""
    return next(state for state in MATTERS[kind] if state.value == name)


def allowed(machine: Machine, state: StrEnum) -> tuple[StrEnum, ...]:
    """Give the states that may follow, in the order of the machine.

    Parameters
    ----------
    machine : Machine
        One of the machines of this module.
    state : StrEnum
        The present state.

    Returns
    -------
    tuple of StrEnum
        Empty when the state is final.
    """
    return tuple(each for each in machine if each in machine[state])


def require_allowed(machine: Machine, present: StrEnum, wanted: StrEnum, *, where: str) -> None:
    """Refuse a step that the machine does not have.

    Parameters
    ----------
    machine : Machine
        One of the machines of this module.
    present, wanted : StrEnum
        Where the thing is, and where it should go.
    where : str
        The thing, for the message.

    Raises
    ------
    GateClosedError
        If the step is not allowed; also when somebody else has taken it meanwhile.
    """
    if wanted in machine[present]:
        return
    following = allowed(machine, present)
    raise GateClosedError(
        f'it is "{present}" and cannot become "{wanted}"',
        where=where,
        mend=f"From here it may become {' or '.join(following)}."
        if following
        else "This state is final; open a new record.",
    )
