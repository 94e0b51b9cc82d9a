"""Tables of people, their devices, and how they prove who they are.

What is secret stands in ``credential`` and ``session`` alone. Neither is told by the audit trail,
so that nothing in the trail lets anyone try out passwords or PINs.
"""

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from spinproof.ledger.tables import Base

SECRET = ("credential", "session", "form_key")
"""Tables that belong in a backup and in no export."""


class Person(Base):
    """Somebody who works with the records. People are never renamed and never deleted."""

    __tablename__ = "person"

    name: Mapped[str] = mapped_column(primary_key=True)
    """Name or role code, as it stands in records."""
    role: Mapped[str]
    active: Mapped[bool]
    added_at: Mapped[str]
    password_since: Mapped[str | None]
    pin_since: Mapped[str | None]


class Device(Base):
    """A shared tablet of the shop."""

    __tablename__ = "device"

    name: Mapped[str] = mapped_column(primary_key=True)
    enrolled_at: Mapped[str]
    retired_at: Mapped[str | None]


class Proof(Base):
    """One try of somebody to prove who they are."""

    __tablename__ = "proof"

    id: Mapped[int] = mapped_column(primary_key=True)
    person: Mapped[str] = mapped_column(ForeignKey("person.name"), index=True)
    means: Mapped[str]
    purpose: Mapped[str]
    accepted: Mapped[bool]
    device: Mapped[str | None] = mapped_column(ForeignKey("device.name"))
    beyond: Mapped[bool]
    """Whether it came from another machine."""
    at: Mapped[str]


class Credential(Base):
    """A hashed secret of a person or a device."""

    __tablename__ = "credential"

    kind: Mapped[str] = mapped_column(primary_key=True)
    owner: Mapped[str] = mapped_column(primary_key=True)
    """Name of the person or the device."""
    hash: Mapped[str]


class SignedIn(Base):
    """A person who is signed in, or was."""

    __tablename__ = "session"

    sha256: Mapped[str] = mapped_column(primary_key=True)
    """SHA-256 of the secret that the browser holds."""
    person: Mapped[str] = mapped_column(ForeignKey("person.name"), index=True)
    device: Mapped[str | None] = mapped_column(ForeignKey("device.name"))
    beyond: Mapped[bool]
    began_at: Mapped[str]
    seen_at: Mapped[str]
    proved_at: Mapped[str]
    ended_at: Mapped[str | None]


class FormKey(Base):
    """A form that was sent: sending it twice has one effect."""

    __tablename__ = "form_key"

    key: Mapped[str] = mapped_column(primary_key=True)
    person: Mapped[str]
    action: Mapped[str]
    at: Mapped[str] = mapped_column(index=True)
    location: Mapped[str | None]
    """Where it led; None until it is done."""


APPEND_ONLY = ("proof",)
ACTS: dict[str, type[Base]] = {
    "person.add": Person,
    "person.change": Person,
    "device.enrol": Device,
    "device.retire": Device,
    "person.prove": Proof,
}
