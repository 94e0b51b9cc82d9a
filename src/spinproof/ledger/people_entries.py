"""What the ledger answers about people."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from spinproof.model.access import ELSEWHERE, ON_SHOP_TABLET, Role, SessionLimits


class Means(StrEnum):
    """How somebody proves who they are."""

    PASSWORD = "password"  # noqa: S105 - a word, no secret
    PIN = "PIN"


class Purpose(StrEnum):
    """What somebody proves who they are for."""

    SIGN_IN = "to sign in"
    SIGNATURE = "to sign"


@dataclass(frozen=True)
class PersonEntry:
    """Somebody who works with the records."""

    name: str
    role: Role
    active: bool
    added_at: str
    password_since: str | None
    pin_since: str | None


@dataclass(frozen=True)
class DeviceEntry:
    """A shared tablet of the shop."""

    name: str
    enrolled_at: str
    retired_at: str | None


@dataclass(frozen=True)
class ProofEntry:
    """One try of somebody to prove who they are."""

    person: str
    means: Means
    purpose: Purpose
    accepted: bool
    device: str | None
    beyond: bool
    """Whether it came from another machine."""
    at: str


@dataclass(frozen=True)
class SessionEntry:
    """A person who is signed in, or was."""

    sha256: str
    person: str
    device: str | None
    beyond: bool
    began_at: str
    seen_at: str
    proved_at: str
    ended_at: str | None

    @property
    def limits(self) -> SessionLimits:
        """How long it lasts."""
        return ON_SHOP_TABLET if self.device else ELSEWHERE

    def is_live(self, at: datetime) -> bool:
        """Tell whether it still holds at an instant."""
        if self.ended_at is not None:
            return False
        idle, age = seconds_since(self.seen_at, at), seconds_since(self.began_at, at)
        return idle <= self.limits.idle_s and age <= self.limits.absolute_s

    def is_proved(self, at: datetime) -> bool:
        """Tell whether who it is was proved just now."""
        return seconds_since(self.proved_at, at) <= self.limits.proved_s


@dataclass(frozen=True)
class FormEntry:
    """A form that was sent."""

    key: str
    person: str
    action: str
    location: str | None
    """Where it led; None until it is done."""


def seconds_since(text: str, at: datetime) -> float:
    """Give the seconds from an instant of the ledger until another.

    Parameters
    ----------
    text : str
        RFC 3339.
    at : datetime
        The later instant, with an offset.

    Returns
    -------
    float
        Seconds, negative when ``at`` is earlier.
    """
    return (at - datetime.fromisoformat(text)).total_seconds()
