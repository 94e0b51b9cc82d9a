"""Who asks for a page."""

import hashlib
import hmac
from contextvars import ContextVar
from dataclasses import dataclass

from spinproof.app.people import DeviceEntry, PersonEntry, Place, SessionEntry
from spinproof.model.access import Action, Condition, Decision, Role, Thing, may


@dataclass(frozen=True)
class Visitor:
    """Who asks, from where, and what they may do."""

    person: PersonEntry | None
    """None for a guest."""
    place: Place
    form_token: str
    """What every form of this visitor must carry."""
    session: SessionEntry | None = None
    device: DeviceEntry | None = None
    proved: bool = False
    """Whether who it is was proved just now."""

    @property
    def role(self) -> Role:
        """What the visitor is to the shop."""
        return self.person.role if self.person else Role.GUEST

    @property
    def name(self) -> str:
        """In whose name records are changed."""
        return self.person.name if self.person else Role.GUEST.value

    @property
    def automatic(self) -> bool:
        """Whether it is the only owner at the machine itself, who needs no sign-in."""
        return self.person is not None and self.session is None

    def may(
        self,
        action: Action,
        thing: Thing,
        *,
        own_work: bool = False,
        met: tuple[Condition, ...] = (),
    ) -> Decision:
        """Decide whether this visitor may do something."""
        held = (*met, Condition.PROVED) if self.proved else met
        return may(self.role, action, thing, own_work=own_work, met=held)


current: ContextVar[Visitor | None] = ContextVar("visitor", default=None)
"""Who the page in hand is made for; the frame of every page shows the name."""


def token_of(secret: str) -> str:
    """Give the form token that belongs to a secret; the secret cannot be told from it."""
    return hmac.new(secret.encode(), b"form", hashlib.sha256).hexdigest()
