"""The state machines, as data."""

import pytest

from spinproof.ledger import states
from spinproof.ledger.states import MATTERS, NonconformanceState, PartState
from spinproof.model.errors import GateClosedError
from spinproof.model.handover import ScopeState
from spinproof.model.matter import CONTENTS, MatterKind

MACHINES = {
    "scope": states.SCOPE,
    "part": states.PART,
    **{kind.value: machine for kind, machine in MATTERS.items()},
}


@pytest.mark.parametrize("name", MACHINES)
def test_a_machine_names_each_state_and_stays_inside_them(name: str):
    machine = MACHINES[name]
    enum = type(next(iter(machine)))

    assert list(machine) == list(enum)
    assert {state for following in machine.values() for state in following} <= set(machine)
    assert all(state not in following for state, following in machine.items())


@pytest.mark.parametrize("kind", MatterKind)
def test_every_state_of_a_matter_can_be_reached(kind: MatterKind):
    machine = MATTERS[kind]
    reached, waiting = set(), [states.first_state(kind)]
    while waiting:
        state = waiting.pop()
        if state not in reached:
            reached.add(state)
            waiting += machine[state]

    assert reached == set(machine)
    assert kind in CONTENTS


def test_a_line_of_the_scope_is_recommended_before_it_is_decided():
    assert states.allowed(states.SCOPE, ScopeState.PROPOSED) == (ScopeState.RECOMMENDED,)
    assert set(states.allowed(states.SCOPE, ScopeState.RECOMMENDED)) == {
        ScopeState.ACCEPTED,
        ScopeState.DECLINED,
        ScopeState.CUSTOMER_SUPPLIED,
        ScopeState.DEFERRED,
    }
    assert states.allowed(states.SCOPE, ScopeState.ACCEPTED) == (
        ScopeState.DONE,
        ScopeState.WITHDRAWN,
    )


def test_scrap_and_return_are_final():
    for state in (PartState.SCRAPPED, PartState.RETURNED):
        assert states.allowed(states.PART, state) == ()
        with pytest.raises(GateClosedError, match="final"):
            states.require_allowed(states.PART, state, PartState.STOCK, where="part X")


def test_a_refusal_says_what_may_follow():
    with pytest.raises(GateClosedError) as caught:
        states.require_allowed(
            states.NONCONFORMANCE,
            NonconformanceState.OPEN,
            NonconformanceState.CLOSED,
            where="nonconformance NCR-1",
        )

    assert caught.value.what == 'it is "open" and cannot become "closed"'
    assert caught.value.mend == "From here it may become contained."


@pytest.mark.parametrize("state", ScopeState)
def test_documents_know_three_states_of_the_scope(state: ScopeState):
    printed = {
        ScopeState.ACCEPTED: ScopeState.ACCEPTED,
        ScopeState.DONE: ScopeState.ACCEPTED,
        ScopeState.CUSTOMER_SUPPLIED: ScopeState.CUSTOMER_SUPPLIED,
    }
    assert state.printed is printed.get(state, ScopeState.DECLINED)
