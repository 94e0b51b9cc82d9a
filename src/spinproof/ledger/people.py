"""Changes to people, their secrets, devices, sessions and forms.

Secrets, sessions and forms are not told by the audit trail; see `people_tables`.
"""

from collections.abc import Sequence

from sqlalchemy import ColumnElement, delete, select

from spinproof.ledger import people_tables as tables
from spinproof.ledger import rules
from spinproof.ledger.book import Book
from spinproof.ledger.people_entries import (
    DeviceEntry,
    Means,
    PersonEntry,
    Purpose,
    SessionEntry,
)
from spinproof.model.access import PEOPLE, Role, name_key
from spinproof.model.errors import GateClosedError, RecordError

LONGEST_NAME = 80


class PeopleRecords(Book):
    """Changes to people, devices, sessions and forms."""

    def add_person(self, name: str, role: Role) -> PersonEntry:
        """Take in somebody who works with the records.

        Parameters
        ----------
        name : str
            Name or role code.
        role : Role
            What they are to the shop.

        Returns
        -------
        PersonEntry
            The person as recorded.

        Raises
        ------
        RecordError
            If somebody has the name already, in any spelling, or it is no name for a person.
        """
        text = " ".join(rules.plain_text(name, "name").split())
        where = f"person {text}"
        if len(text) > LONGEST_NAME or name_key(text) in {rules.JUDGE, *Role}:
            raise RecordError(
                "this cannot stand for one person",
                where=where,
                mend=f"Give a name or role code of up to {LONGEST_NAME} characters.",
            )
        if self.person_named(text) is not None:
            raise RecordError(
                "somebody has this name already",
                where=where,
                mend="Give a name that tells the two apart, for example a role code.",
            )
        if role not in PEOPLE:
            raise RecordError(
                f"the role {role} is not for people",
                where=where,
                mend=f"Choose one of: {', '.join(PEOPLE)}.",
            )
        row = tables.Person(name=text, role=role.value, active=True, added_at=self._at)
        self._add(row, "person.add", where)
        return self.person(text)

    def change_person(self, name: str, *, role: Role, active: bool, why: str) -> PersonEntry:
        """Give a person another role, or let them rest or come back.

        Parameters
        ----------
        name : str
            The person.
        role : Role
            Their role from now on.
        active : bool
            Whether they may sign in from now on.
        why : str
            The reason.

        Returns
        -------
        PersonEntry
            The person as recorded.

        Raises
        ------
        RecordError
            If nobody has this name, or the role is not for people.
        GateClosedError
            If no owner would be left who can sign in as before.
        """
        person = self.person(name)
        if role not in PEOPLE:
            raise RecordError(
                f"the role {role} is not for people",
                where=f"person {person.name}",
                mend=f"Choose one of: {', '.join(PEOPLE)}.",
            )
        owns = person.active and person.role is Role.OWNER
        if owns and not (active and role is Role.OWNER) and not self._other_owner(person):
            raise GateClosedError(
                "the shop would have no owner who can sign in",
                where=f"person {person.name}",
                mend="Make another person owner first, with a password.",
            )
        self._change(
            self._row(person),
            "person.change",
            f"person {person.name}",
            rules.plain_text(why, "reason"),
            role=role.value,
            active=active,
        )
        if not active:
            self.end_sessions(person.name)
        return self.person(person.name)

    def _other_owner(self, person: PersonEntry) -> bool:
        return any(
            other.role is Role.OWNER and other.active and other.password_since
            for other in self.people()
            if other.name != person.name
        )

    def _row(self, person: PersonEntry) -> tables.Person:
        return self._session.get_one(tables.Person, person.name)

    def set_secret(self, name: str, means: Means, hashed: str) -> PersonEntry:
        """Give a person a new password or PIN, of which only the hash is known here.

        Parameters
        ----------
        name : str
            The person.
        means : Means
            Password or PIN.
        hashed : str
            The hash, with its parameters.

        Returns
        -------
        PersonEntry
            The person as recorded.

        Raises
        ------
        GateClosedError
            If no owner has a password yet, who could then still come in, or a PIN would come
            before the password.
        """
        person = self.person(name)
        owner_has_one = any(p.role is Role.OWNER and p.password_since for p in self.people())
        if person.role is not Role.OWNER and not owner_has_one:
            raise GateClosedError(
                "the owner has no password yet, and could not come in any more",
                where=f"person {person.name}",
                mend="Give the owner a password first.",
            )
        if means is Means.PIN and person.password_since is None:
            raise GateClosedError(
                "a PIN stands beside a password, and there is none yet",
                where=f"person {person.name}",
                mend="Set the password first.",
            )
        self._hold(means, person.name, hashed)
        since = {f"{means.value.lower()}_since": self._at}
        self._change(self._row(person), "person.change", f"person {person.name}", None, **since)
        return self.person(person.name)

    def rehash(self, name: str, means: Means, hashed: str) -> None:
        """Hold the same password or PIN under newer parameters."""
        self._hold(means, self.person(name).name, hashed)

    def _hold(self, kind: str, owner: str, hashed: str) -> None:
        self._session.merge(tables.Credential(kind=str(kind), owner=owner, hash=hashed))
        self._session.flush()

    def tell_proof(
        self,
        name: str,
        means: Means,
        purpose: Purpose,
        *,
        accepted: bool,
        device: str | None,
        beyond: bool,
    ) -> None:
        """Record that somebody tried to prove who they are.

        Parameters
        ----------
        name : str
            Whom they named.
        means, purpose : Means, Purpose
            How, and what for.
        accepted : bool
            Whether the proof held.
        device : str, optional
            The enrolled tablet that it came from.
        beyond : bool
            Whether it came from another machine.
        """
        person = self.person(name)
        row = tables.Proof(
            person=person.name,
            means=means.value,
            purpose=purpose.value,
            accepted=accepted,
            device=device,
            beyond=beyond,
            at=self._at,
        )
        self._add(row, "person.prove", f"person {person.name}")

    def enrol_device(self, name: str, sha256: str) -> DeviceEntry:
        """Take in a shared tablet that holds a secret of this hash.

        Parameters
        ----------
        name : str
            What is written on it.
        sha256 : str
            SHA-256 of its secret.

        Returns
        -------
        DeviceEntry
            The tablet as recorded.

        Raises
        ------
        RecordError
            If a tablet had the name already.
        """
        text = rules.plain_text(name, "name")
        if any(name_key(known.name) == name_key(text) for known in self.devices()):
            raise RecordError(
                "a tablet has, or had, this name already",
                where=f"device {text}",
                mend="Write another name on it.",
            )
        row = tables.Device(name=text, enrolled_at=self._at)
        self._add(row, "device.enrol", f"device {text}")
        self._hold("device", text, sha256)
        return DeviceEntry(text, self._at, None)

    def retire_device(self, name: str, why: str) -> None:
        """Take a tablet out of use; who is signed in on it is signed out.

        Parameters
        ----------
        name : str
            The tablet.
        why : str
            The reason.

        Raises
        ------
        RecordError
            If no tablet of this name is in use.
        """
        row = self._session.get(tables.Device, name)
        if row is None or row.retired_at is not None:
            raise RecordError(
                "no such tablet is in use", where=f"device {name}", mend="Check the spelling."
            )
        reason = rules.plain_text(why, "reason")
        self._change(row, "device.retire", f"device {name}", reason, retired_at=self._at)
        self._session.execute(
            delete(tables.Credential).where(
                tables.Credential.kind == "device", tables.Credential.owner == name
            )
        )
        for open_one in self._open_sessions(tables.SignedIn.device == name):
            open_one.ended_at = self._at

    def begin_session(
        self, name: str, sha256: str, *, device: str | None, beyond: bool
    ) -> SessionEntry:
        """Sign a person in.

        Parameters
        ----------
        name : str
            The person.
        sha256 : str
            SHA-256 of the secret that the browser holds.
        device : str, optional
            The enrolled tablet.
        beyond : bool
            Whether it is another machine.

        Returns
        -------
        SessionEntry
            The session.
        """
        session = SessionEntry(
            sha256=sha256,
            person=self.person(name).name,
            device=device,
            beyond=beyond,
            began_at=self._at,
            seen_at=self._at,
            proved_at=self._at,
            ended_at=None,
        )
        self._session.add(tables.SignedIn(**vars(session)))
        self._session.flush()
        return session

    def see_session(self, sha256: str, *, proved: bool = False) -> None:
        """Note that a session is in use, and that its person was proved again."""
        for row in self._open_sessions(tables.SignedIn.sha256 == sha256):
            row.seen_at = self._at
            row.proved_at = self._at if proved else row.proved_at

    def end_session(self, sha256: str) -> None:
        """Sign one session out."""
        for row in self._open_sessions(tables.SignedIn.sha256 == sha256):
            row.ended_at = self._at

    def end_sessions(self, name: str) -> int:
        """Sign a person out everywhere, and give how many sessions that ended."""
        rows = self._open_sessions(tables.SignedIn.person == self.person(name).name)
        for row in rows:
            row.ended_at = self._at
        return len(rows)

    def _open_sessions(self, condition: ColumnElement[bool]) -> Sequence[tables.SignedIn]:
        query = select(tables.SignedIn).where(condition, tables.SignedIn.ended_at.is_(None))
        return self._session.scalars(query).all()

    def claim_form(self, key: str, action: str) -> None:
        """Note that a form is being carried out."""
        row = tables.FormKey(key=key, person=self._who, action=action, at=self._at, location=None)
        self._session.add(row)
        self._session.flush()

    def finish_form(self, key: str, location: str) -> None:
        """Note where a form led."""
        self._session.get_one(tables.FormKey, key).location = location

    def release_form(self, key: str) -> None:
        """Forget a form that had no effect."""
        self._session.execute(delete(tables.FormKey).where(tables.FormKey.key == key))

    def forget_forms(self, before: str) -> None:
        """Forget the forms that were sent before an instant."""
        self._session.execute(delete(tables.FormKey).where(tables.FormKey.at < before))
