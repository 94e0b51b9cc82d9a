"""Who may do what: roles, things, the matrix of both, and the rule of the second person."""

import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import StrEnum

from spinproof.model.errors import GateClosedError


class Role(StrEnum):
    """What somebody is to the shop."""

    OWNER = "owner"
    TECHNICIAN = "technician"
    INSPECTOR = "inspector"
    PRESENTER = "presenter"
    CUSTOMER_LINK = "customer link"
    RECORDER = "recorder service"
    GUEST = "guest"


PEOPLE = (Role.OWNER, Role.TECHNICIAN, Role.INSPECTOR, Role.PRESENTER)
"""Roles that a person can have; the others belong to links, programs and strangers."""


class Action(StrEnum):
    """What is done to a thing."""

    READ = "read"
    WRITE = "write"
    DECIDE = "decide"
    PROPOSE = "propose"
    COUNTERSIGN = "countersign"
    APPEND = "append"


class Thing(StrEnum):
    """What access is given to."""

    IDENTITY = "customer identity"
    JOB = "jobs and their scope"
    FINDINGS = "part findings and rebuild data"
    RUNS = "runs and checks"
    BLOCKS = "raw samples"
    LIMITS = "limits and recipes"
    VERDICT = "overriding a verdict"
    GATE = "gates"
    FILM = "films and cues"
    PUBLISHING = "publishing and share links"
    RELEASE = "release"
    SHOP = "people, keys, backups and addresses"
    AUDIT = "the audit trail"
    ACCOUNT = "one's own account"
    DOOR = "signing in, and what the words mean"


class Condition(StrEnum):
    """What must hold besides the role; the value completes "only if ..."."""

    OWN_JOB = "it belongs to the job that the link was made for"
    PUBLISHED = "it was published"
    OWN_ACTS = "it tells of one's own acts"
    REASON = "a reason is given"
    NOT_OWN_WORK = "it is not one's own work"
    PROVED = "who asks has just proved who they are"
    PASSPHRASE = "the passphrase of the key is given"  # noqa: S105 - a sentence, no secret


_WORDS = {
    "of own job": Condition.OWN_JOB,
    "if published": Condition.PUBLISHED,
    "of own acts": Condition.OWN_ACTS,
    "with reason": Condition.REASON,
    "not own work": Condition.NOT_OWN_WORK,
    "when proved": Condition.PROVED,
    "by passphrase": Condition.PASSPHRASE,
}
_COLUMNS = tuple(Role)
_NOBODY = ("", "", "", "", "", "", "")
_TABLE: Mapping[Thing, tuple[str, ...]] = {
    # owner, technician, inspector, presenter, customer link, recorder service, guest
    Thing.IDENTITY: ("read, write", *_NOBODY[1:]),
    Thing.JOB: ("read, write, decide", "read", "read, decide", "read", "read of own job", "", ""),
    Thing.FINDINGS: (
        "read, write", "read, write", "read, decide", "read", "read if published", "", "",
    ),
    Thing.RUNS: ("read, write", "read, write", "read, write", "read", "", "", ""),
    Thing.BLOCKS: ("read", "read", "read", "read", "read if published", "append", ""),
    Thing.LIMITS: (
        "read, write", "read, propose", "read, write, decide", "read", "read if published", "", "",
    ),
    Thing.VERDICT: ("", "", "decide with reason; not own work", "", "", "", ""),
    Thing.GATE: ("decide", "", "decide", "", "read if published", "", ""),
    Thing.FILM: ("read, write", "read", "read", "read, write", "read if published", "", ""),
    Thing.PUBLISHING: ("decide", "", "propose", "propose", "", "", ""),
    Thing.RELEASE: ("decide by passphrase", "", "countersign", "", "read of own job", "", ""),
    Thing.SHOP: ("read, write when proved", *_NOBODY[1:]),
    Thing.AUDIT: ("read", "read of own acts", "read", "", "read if published", "append", ""),
    Thing.ACCOUNT: (*("read, write when proved",) * 4, "", "", ""),
    Thing.DOOR: ("read, write",) * 7,
}  # fmt: skip

Grants = Mapping[Action, frozenset[Condition]]


def _grants(cell: str) -> Grants:
    grants = {}
    for part in filter(None, cell.split(", ")):
        action, _, words = part.partition(" ")
        conditions = (_WORDS[word] for word in filter(None, words.split("; ")))
        grants[Action(action)] = frozenset(conditions)
    return grants


MATRIX: Mapping[tuple[Role, Thing], Grants] = {
    (role, thing): _grants(cell)
    for thing, cells in _TABLE.items()
    for role, cell in zip(_COLUMNS, cells, strict=True)
}
"""What each role may do to each thing, and under which conditions. Nothing else is allowed."""


@dataclass(frozen=True)
class Decision:
    """Whether something is allowed, and why."""

    allowed: bool
    reason: str
    """A sentence for who asked."""


def may(
    role: Role,
    action: Action,
    thing: Thing,
    *,
    own_work: bool = False,
    met: Collection[Condition] = (),
) -> Decision:
    """Decide whether a role may do something to a thing.

    Parameters
    ----------
    role : Role
        Who asks.
    action : Action
        What they would do.
    thing : Thing
        To what.
    own_work : bool
        Whether the decision would be about their own work.
    met : collection of Condition
        The conditions that hold.

    Returns
    -------
    Decision
        Allowed or not, with the reason.

    Examples
    --------
    >>> may(Role.TECHNICIAN, Action.DECIDE, Thing.GATE).reason
    'The role technician may not decide: gates.'
    """
    conditions = MATRIX[role, thing].get(action)
    asked = f"{action}: {thing}"
    if conditions is None:
        return Decision(allowed=False, reason=f"The role {role} may not {asked}.")
    held = set(met) - {Condition.NOT_OWN_WORK}
    if not own_work:
        held.add(Condition.NOT_OWN_WORK)
    missing = sorted(conditions - held)
    if missing:
        only = " and ".join(missing)
        return Decision(allowed=False, reason=f"The role {role} may {asked}, only if {only}.")
    return Decision(allowed=True, reason=f"The role {role} may {asked}.")


def name_key(name: str) -> str:
    """Give what two spellings of one name share: case, width and spaces do not tell people apart.

    Parameters
    ----------
    name : str
        Name or role code of a person.

    Returns
    -------
    str
        Equal for spellings of the same name.

    Examples
    --------
    >>> name_key(" QI-2 ") == name_key("qi-2"), name_key("QI-2") == name_key("QI-3")
    (True, False)
    """
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def require_other_person(performer: str, verifier: str) -> None:
    """Refuse that somebody verifies what they did themselves.

    Parameters
    ----------
    performer : str
        Who did the work.
    verifier : str
        Who would verify it.

    Raises
    ------
    GateClosedError
        If both are the same person.
    """
    if name_key(performer) == name_key(verifier):
        raise GateClosedError(
            f"{performer} did this work, and nobody verifies their own",
            where=f"signature of {verifier}",
            mend="Have another person look at it and sign as the one who verified.",
        )


@dataclass(frozen=True)
class SessionLimits:
    """How long a person stays signed in, in seconds."""

    idle_s: float
    absolute_s: float
    proved_s: float = 600.0
    """How long a proof of who somebody is stands for changes that need one."""


@dataclass(frozen=True)
class TryLimits:
    """How many wrong tries are taken."""

    in_window: int = 10
    window_s: float = 900.0
    in_row: int = 100
    """After so many without a right one, the owner has to set a new password."""
    pins_in_row: int = 5
    """After so many, the PIN rests until the password was given."""


ON_SHOP_TABLET = SessionLimits(idle_s=8 * 3600.0, absolute_s=24 * 3600.0)
ELSEWHERE = SessionLimits(idle_s=1800.0, absolute_s=24 * 3600.0)
TRIES = TryLimits()
PASSWORD_LENGTH = range(15, 1025)
"""Characters of a password that is the only proof."""
PIN_LENGTH = 6
