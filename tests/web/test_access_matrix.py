"""The matrix of roles and things, cell by cell, and what each route makes of it."""

from collections.abc import Iterator
from contextlib import closing

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute
from tests.web.seed import empty_bench
from tests.web.staff import STAFF, Staff, staffed_server

from spinproof.model.access import (
    MATRIX,
    Action,
    Condition,
    Role,
    Thing,
    may,
    require_other_person,
)
from spinproof.model.errors import GateClosedError
from spinproof.web.access import NEEDS
from spinproof.web.application import create_app

AGREED = """
thing                               | own | tech | insp | pres | link | recd | guest
customer identity                   | RW  | -    | -    | -    | -    | -    | -
jobs and their scope                | RWD | R    | RD   | R    | Rj   | -    | -
part findings and rebuild data      | RW  | RW   | RD   | R    | Rp   | -    | -
runs and checks                     | RW  | RW   | RW   | R    | -    | -    | -
raw samples                         | R   | R    | R    | R    | Rp   | A    | -
limits and recipes                  | RW  | RP   | RWD  | R    | Rp   | -    | -
overriding a verdict                | -   | -    | Dnr  | -    | -    | -    | -
gates                               | D   | -    | D    | -    | Rp   | -    | -
films and cues                      | RW  | R    | R    | RW   | Rp   | -    | -
publishing and share links          | D   | -    | P    | P    | -    | -    | -
release                             | Dk  | -    | C    | -    | Rj   | -    | -
people, keys, backups and addresses | RWx | -    | -    | -    | -    | -    | -
the audit trail                     | R   | Ro   | R    | -    | Rp   | A    | -
one's own account                   | RWx | RWx  | RWx  | RWx  | -    | -    | -
signing in, and what the words mean | RW  | RW   | RW   | RW   | RW   | RW   | RW
"""
"""What was agreed, apart from the code: a capital is an action, small letters after it are its
conditions: own job, published, not own work, with reason, by passphrase, freshly proved, own acts.
"""
ACTIONS = {
    "R": Action.READ,
    "W": Action.WRITE,
    "D": Action.DECIDE,
    "P": Action.PROPOSE,
    "C": Action.COUNTERSIGN,
    "A": Action.APPEND,
}
CONDITIONS = {
    "j": Condition.OWN_JOB,
    "p": Condition.PUBLISHED,
    "n": Condition.NOT_OWN_WORK,
    "r": Condition.REASON,
    "k": Condition.PASSPHRASE,
    "x": Condition.PROVED,
    "o": Condition.OWN_ACTS,
}


def agreed() -> Iterator[tuple[Role, Thing, Action, frozenset[Condition] | None]]:
    """Give each cell for each action: its conditions, or None when it is not allowed."""
    for line in AGREED.strip().splitlines()[1:]:
        name, *cells = (part.strip() for part in line.split("|"))
        for role, cell in zip(Role, cells, strict=True):
            granted: dict[Action, set[Condition]] = {}
            last: set[Condition] = set()
            for letter in cell.replace("-", ""):
                if letter.isupper():
                    last = granted.setdefault(ACTIONS[letter], set())
                else:
                    last.add(CONDITIONS[letter])
            for action in Action:
                yield (
                    role,
                    Thing(name),
                    action,
                    frozenset(granted[action]) if action in granted else None,
                )


CELLS = list(agreed())


@pytest.mark.parametrize(
    ("role", "thing", "action", "conditions"),
    CELLS,
    ids=[f"{role}: {action}: {thing}" for role, thing, action, _ in CELLS],
)
def test_each_cell_allows_what_was_agreed_and_nothing_else(
    role: Role, thing: Thing, action: Action, conditions: frozenset[Condition] | None
):
    everything = tuple(Condition)
    if conditions is None:
        assert not may(role, action, thing, met=everything).allowed
        return
    assert may(role, action, thing, met=conditions).allowed
    for missing in conditions - {Condition.NOT_OWN_WORK}:
        decision = may(role, action, thing, met=conditions - {missing})
        assert not decision.allowed
        assert missing in decision.reason
    own = may(role, action, thing, own_work=True, met=everything)
    assert own.allowed is (Condition.NOT_OWN_WORK not in conditions)


def test_the_matrix_has_a_cell_for_each_role_and_thing():
    assert set(MATRIX) == {(role, thing) for role in Role for thing in Thing}
    assert len(CELLS) == len(Role) * len(Thing) * len(Action)


@pytest.mark.parametrize("role", list(Role))
def test_nobody_writes_to_the_audit_trail_or_to_raw_samples(role: Role):
    for thing in (Thing.AUDIT, Thing.BLOCKS):
        assert not {Action.WRITE, Action.DECIDE} & set(MATRIX[role, thing])


@pytest.mark.parametrize("verifier", ["TT-1", " tt-1 ", "ＴＴ-1"])
def test_nobody_verifies_what_they_did_themselves(verifier: str):
    with pytest.raises(GateClosedError, match="nobody verifies their own"):
        require_other_person("TT-1", verifier)


def test_another_person_may_verify():
    require_other_person("TT-1", "QI-2")


# -- routes


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> FastAPI:
    bench = empty_bench(tmp_path_factory.mktemp("shop"))
    bench.ledger.close()
    return create_app(bench.home)


def routes_of(app: FastAPI) -> set[str]:
    found = set()
    for route in app.routes:
        for context in getattr(route, "effective_route_contexts", list)() or [route]:
            if isinstance(getattr(context, "original_route", context), APIRoute):
                found |= {f"{method} {context.path}" for method in context.methods}
    return found


def test_each_route_says_what_it_needs_and_nothing_else_does(app: FastAPI):
    assert routes_of(app) == set(NEEDS)


@pytest.fixture(scope="module")
def staff(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Staff]:
    with staffed_server(tmp_path_factory.mktemp("staffed")) as running:
        yield running


@pytest.mark.parametrize("route", list(NEEDS))
@pytest.mark.parametrize("role", [*STAFF, Role.GUEST])
def test_each_route_lets_in_whom_the_matrix_lets_in(staff: Staff, route: str, role: Role):
    need = NEEDS[route]
    method, _, path = route.partition(" ")
    for part in ("job", "head", "run", "package", "name"):
        path = path.replace(f"{{{part}}}", "of-nobody")
    with closing(staff.client(role)) as client:
        data = {"form-token": staff.token(role)}
        answer = client.request(method, path, data=data if method == "POST" else None)

    met = (*need.inside, Condition.PROVED) if role is not Role.GUEST else ()
    if may(role, need.action, need.thing, met=met).allowed:
        assert answer.status_code not in {401, 403, 500}, answer.text
        assert not answer.headers.get("location", "").startswith("/sign-in?then")
    elif role is Role.GUEST:
        to_the_door = answer.headers.get("location", "").startswith("/sign-in?then")
        assert to_the_door or answer.status_code == 401
    else:
        assert answer.status_code == 403
        assert f"The role {role} may not" in answer.text
