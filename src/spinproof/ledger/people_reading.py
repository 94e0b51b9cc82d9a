"""Questions to the ledger about people, their devices and their sessions."""

from typing import NoReturn

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from spinproof.ledger import people_tables as tables
from spinproof.ledger.people_entries import (
    DeviceEntry,
    FormEntry,
    Means,
    PersonEntry,
    ProofEntry,
    Purpose,
    SessionEntry,
)
from spinproof.model.access import Role, name_key
from spinproof.model.errors import RecordError

HISTORY = 200
"""Proofs that are looked at to count wrong tries; more than any limit of tries."""


class PeopleReading:
    """One consistent view of the people. Whom it does not know, it refuses with RecordError."""

    def __init__(self, session: Session) -> None:
        self._session = session

    def people(self) -> tuple[PersonEntry, ...]:
        """Give everybody, in order of their names."""
        rows = self._session.scalars(select(tables.Person).order_by(tables.Person.name))
        return tuple(_person(row) for row in rows)

    def person_named(self, name: str) -> PersonEntry | None:
        """Give a person by any spelling of the name, or None."""
        key = name_key(name)
        return next((person for person in self.people() if name_key(person.name) == key), None)

    def person(self, name: str) -> PersonEntry:
        """Give a person."""
        found = self.person_named(name)
        if found is None:
            _refuse_unknown("person", name)
        return found

    def proofs(self, person: str) -> tuple[ProofEntry, ...]:
        """Give the latest tries of a person to prove who they are, the newest first."""
        query = select(tables.Proof).where(tables.Proof.person == person)
        rows = self._session.scalars(query.order_by(tables.Proof.id.desc()).limit(HISTORY))
        return tuple(
            ProofEntry(
                row.person,
                Means(row.means),
                Purpose(row.purpose),
                row.accepted,
                row.device,
                row.beyond,
                row.at,
            )
            for row in rows
        )

    def owner_came_from_beyond(self) -> bool:
        """Tell whether an owner ever signed in from another machine."""
        query = (
            select(tables.Proof.id)
            .join(tables.Person, tables.Person.name == tables.Proof.person)
            .where(tables.Person.role == Role.OWNER.value)
            .where(tables.Proof.accepted, tables.Proof.beyond)
            .where(tables.Proof.purpose == Purpose.SIGN_IN.value)
        )
        return self._session.scalar(query.limit(1)) is not None

    def credential(self, kind: str, owner: str) -> str | None:
        """Give the hash of a secret."""
        row = self._session.get(tables.Credential, (kind, owner))
        return None if row is None else row.hash

    def devices(self) -> tuple[DeviceEntry, ...]:
        """Give all shared tablets, in order of their names."""
        rows = self._session.scalars(select(tables.Device).order_by(tables.Device.name))
        return tuple(DeviceEntry(row.name, row.enrolled_at, row.retired_at) for row in rows)

    def device_of(self, sha256: str) -> DeviceEntry | None:
        """Give the enrolled tablet that holds the secret of this hash, or None."""
        query = (
            select(tables.Device)
            .join(tables.Credential, tables.Credential.owner == tables.Device.name)
            .where(tables.Credential.kind == "device", tables.Credential.hash == sha256)
            .where(tables.Device.retired_at.is_(None))
        )
        row = self._session.scalar(query)
        return None if row is None else DeviceEntry(row.name, row.enrolled_at, row.retired_at)

    def session(self, sha256: str) -> SessionEntry | None:
        """Give a session, or None."""
        return next(iter(self._sessions(tables.SignedIn.sha256 == sha256)), None)

    def sessions(self, person: str) -> tuple[SessionEntry, ...]:
        """Give the sessions of a person, the newest first."""
        return self._sessions(tables.SignedIn.person == person)

    def _sessions(self, condition: ColumnElement[bool]) -> tuple[SessionEntry, ...]:
        query = select(tables.SignedIn).where(condition).order_by(tables.SignedIn.began_at.desc())
        return tuple(
            SessionEntry(
                row.sha256,
                row.person,
                row.device,
                row.beyond,
                row.began_at,
                row.seen_at,
                row.proved_at,
                row.ended_at,
            )
            for row in self._session.scalars(query)
        )

    def form(self, key: str) -> FormEntry | None:
        """Give a form that was sent, or None."""
        row = self._session.get(tables.FormKey, key)
        return None if row is None else FormEntry(row.key, row.person, row.action, row.location)


def _person(row: tables.Person) -> PersonEntry:
    return PersonEntry(
        row.name, Role(row.role), row.active, row.added_at, row.password_since, row.pin_since
    )


def _refuse_unknown(kind: str, name: str) -> NoReturn:
    raise RecordError(
        f"the ledger holds no such {kind}", where=f"{kind} {name}", mend="Check the spelling."
    )
