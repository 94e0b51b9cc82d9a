"""People: the first owner, signing in and out, proving who signs, passwords, PINs, tablets."""

import hmac
import secrets
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from spinproof.app.passwords import Passwords, require_password, require_pin
from spinproof.ledger import people_rules
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.people_entries import DeviceEntry as DeviceEntry
from spinproof.ledger.people_entries import Means, Purpose, seconds_since
from spinproof.ledger.people_entries import PersonEntry as PersonEntry
from spinproof.ledger.people_entries import SessionEntry as SessionEntry
from spinproof.model.access import PIN_LENGTH, TRIES, Role, name_key
from spinproof.model.errors import (
    BusyError,
    GateClosedError,
    RecordError,
    SignInError,
    StorageError,
)

PROGRAM = "sign-in"
"""In whose name the ledger tells of tries before anybody is known."""
CONSOLE = "console"
"""In whose name the ledger tells of a password that was set from the command line."""
SEEN_EVERY_S = 60.0
"""A session in use is noted at most this often. [s]"""
CODE_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
CODE_LENGTH = 10
CODE_TRIES = 10


@dataclass(frozen=True)
class Place:
    """Where somebody is while they sign in or sign."""

    device_secret: str | None = None
    """What an enrolled tablet holds."""
    beyond: bool = False
    """Whether it is another machine than the one that serves."""


def digest(secret: str) -> str:
    """Give the SHA-256 under which a random secret is held; it needs no slow hash."""
    return sha256(secret.encode()).hexdigest()


class FrontDesk:
    """Knows who is who.

    Parameters
    ----------
    ledger : Ledger
        Where people are recorded.
    passwords : Passwords, optional
        How passwords are hashed.
    draw : callable
        Draws a secret of 256 bits.
    """

    def __init__(
        self,
        ledger: Ledger,
        passwords: Passwords | None = None,
        draw: Callable[[], str] = secrets.token_urlsafe,
    ) -> None:
        self._ledger = ledger
        self._passwords = passwords or Passwords()
        self._draw = draw
        self._turn = threading.Lock()  # tries are counted one after the other
        self._code: str | None = None
        self._code_tries = 0

    def people(self) -> tuple[PersonEntry, ...]:
        """Give everybody who is on record."""
        with self._ledger.reading() as records:
            return records.people()

    def devices(self) -> tuple[DeviceEntry, ...]:
        """Give all shared tablets."""
        with self._ledger.reading() as records:
            return records.devices()

    def device(self, place: Place) -> DeviceEntry | None:
        """Give the enrolled tablet that somebody stands at, or None."""
        if not place.device_secret:
            return None
        with self._ledger.reading() as records:
            return records.device_of(digest(place.device_secret))

    def sessions(self, name: str, at: datetime) -> tuple[SessionEntry, ...]:
        """Give where a person is signed in."""
        with self._ledger.reading() as records:
            return tuple(s for s in records.sessions(name) if s.is_live(at))

    # -- the first owner

    def first_owner(self, name: str, at: datetime, password: str = "") -> PersonEntry:
        """Record the owner of a shop that has no people yet.

        Raises
        ------
        GateClosedError
            If somebody is on record already.
        DocumentError
            If a password is given that is soon guessed.
        """
        if password:
            require_password(password, name)
        hashed = self._passwords.hash(password) if password else None
        with self._ledger.transaction(name, at) as records:
            if records.people():
                raise GateClosedError(
                    "the first account was made already",
                    where="first account",
                    mend="Sign in, or have an owner add you.",
                )
            owner = records.add_person(name, Role.OWNER)
            return records.set_secret(owner.name, Means.PASSWORD, hashed) if hashed else owner

    def reset_owner(self, name: str, password: str, at: datetime) -> PersonEntry:
        """Give an owner a password from the console: whoever sits there holds the records anyway.

        Raises
        ------
        DocumentError
            If the password is soon guessed.
        GateClosedError
            If the person is no active owner.
        """
        if not self.people():
            return self.first_owner(name, at, password)
        person = self._named(name)
        if person is None or person.role is not Role.OWNER or not person.active:
            raise GateClosedError(
                "this is no owner on record",
                where=f"person {name}",
                mend="Name an owner; everybody else gets a password from one, on the pages.",
            )
        self.set_password(person.name, password, CONSOLE, at)
        return person

    def automatic_owner(self) -> PersonEntry | None:
        """Give the owner who needs no sign-in on this machine, or None.

        That is the only owner, as long as nobody has a password.
        """
        active = [person for person in self.people() if person.active]
        owners = [person for person in active if person.role is Role.OWNER]
        alone = len(owners) == 1 and not any(person.password_since for person in active)
        return owners[0] if alone else None

    def open_beyond(self) -> str | None:
        """Let other machines in; give the code that the owner's first sign-in from there needs.

        Raises
        ------
        GateClosedError
            If no owner has a password.
        """
        able = [p for p in self.people() if p.active and p.role is Role.OWNER and p.password_since]
        if not able:
            raise GateClosedError(
                "no owner has a password yet, so the pages cannot be shown to other machines",
                where="spinproof serve",
                mend="Serve on this machine alone first, open the pages and set the owner's "
                "password under Account; then listen wider.",
            )
        with self._ledger.reading() as records:
            if records.owner_came_from_beyond():
                return None
        code = "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
        self._code = digest(code)
        return code

    @property
    def asks_code(self) -> bool:
        """Tell whether the owner's first sign-in from another machine is still to come."""
        return self._code is not None

    def _check_code(self, person: PersonEntry | None, code: str) -> None:
        if self._code is None:
            return
        is_owner = person is not None and person.role is Role.OWNER
        given = digest("".join(code.upper().split()))
        self._code_tries += 1
        if self._code_tries > CODE_TRIES:
            raise SignInError(
                "the code was tried too often, and holds no longer",
                where="code from the console",
                mend="Start the server again; it prints another one.",
            )
        if not (hmac.compare_digest(given, self._code) and is_owner):
            raise SignInError(
                "the owner signs in first, with the code that the server printed",
                where="code from the console",
                mend="Read the code where `spinproof serve` was started.",
            )

    # -- signing in and out

    def sign_in(
        self, name: str, password: str, place: Place, at: datetime, code: str = ""
    ) -> tuple[str, SessionEntry]:
        """Sign somebody in.

        Returns
        -------
        tuple of str and SessionEntry
            The secret for the browser, new each time, and the session.

        Raises
        ------
        SignInError
            If name and password do not belong together, or were tried too often.
        """
        device = self.device(place)
        with self._turn:
            person = self._named(name)
            if place.beyond:
                self._check_code(person, code)
            known = self._prove(person, Means.PASSWORD, password, Purpose.SIGN_IN, place, at)
            secret = self._draw()
            with self._ledger.transaction(known.name, at) as records:
                session = records.begin_session(
                    known.name,
                    digest(secret),
                    device=device.name if device else None,
                    beyond=place.beyond,
                )
            if place.beyond:
                self._code = None
        return secret, session

    def session_of(self, secret: str, at: datetime) -> tuple[SessionEntry, PersonEntry] | None:
        """Give the live session that a browser's secret belongs to, and its person."""
        key = digest(secret)
        with self._ledger.reading() as records:
            session = records.session(key)
            person = records.person(session.person) if session else None
        if session is None or person is None or not person.active or not session.is_live(at):
            return None
        if seconds_since(session.seen_at, at) > SEEN_EVERY_S:
            with (  # a full disk must not keep anybody from reading
                suppress(BusyError, StorageError),
                self._ledger.transaction(person.name, at) as records,
            ):
                records.see_session(key)
        return session, person

    def sign_out(self, session: SessionEntry, at: datetime) -> None:
        """Sign a session out."""
        with self._ledger.transaction(session.person, at) as records:
            records.end_session(session.sha256)

    def sign_out_everywhere(self, name: str, by: str, at: datetime) -> int:
        """Sign a person out everywhere, and give how many sessions that ended."""
        with self._ledger.transaction(by, at) as records:
            return records.end_sessions(name)

    # -- proving who it is

    def prove(
        self,
        name: str,
        typed: str,
        place: Place,
        at: datetime,
        session: SessionEntry | None = None,
    ) -> PersonEntry:
        """Have somebody prove who they are, to sign: by PIN on a shop's tablet, else by password.

        Parameters
        ----------
        name : str
            Who signs; on a shared tablet not always who is signed in.
        typed : str
            PIN or password.
        place : Place
            Where they are.
        at : datetime
            The present instant.
        session : SessionEntry, optional
            The session that the proof stands in, when it is of the same person.

        Returns
        -------
        PersonEntry
            Who it is.

        Raises
        ------
        SignInError
            If the proof does not hold, or was tried too often.
        """
        looks_like_pin = len(typed) == PIN_LENGTH and typed.isdecimal()
        means = Means.PIN if looks_like_pin and self.device(place) else Means.PASSWORD
        with self._turn:
            person = self._prove(self._named(name), means, typed, Purpose.SIGNATURE, place, at)
        if session is not None and session.person == person.name and means is Means.PASSWORD:
            with self._ledger.transaction(person.name, at) as records:
                records.see_session(session.sha256, proved=True)
        return person

    def _named(self, name: str) -> PersonEntry | None:
        with self._ledger.reading() as records:
            return records.person_named(name)

    def _prove(
        self,
        person: PersonEntry | None,
        means: Means,
        typed: str,
        purpose: Purpose,
        place: Place,
        at: datetime,
    ) -> PersonEntry:
        refused = SignInError(
            f"name and {means} do not belong together",
            where=purpose.value,
            mend="Check both, and who is on record here with a password.",
        )
        if person is None:
            self._passwords.holds(typed, None)
            raise refused
        self._refuse_many_tries(person, means, at)
        with self._ledger.reading() as records:
            hashed = records.credential(means, person.name)
        holds = self._passwords.holds(typed, hashed) and person.active
        device = self.device(place)
        with self._ledger.transaction(PROGRAM, at) as records:
            records.tell_proof(
                person.name,
                means,
                purpose,
                accepted=holds,
                device=device.name if device else None,
                beyond=place.beyond,
            )
        if not holds:
            raise refused
        self._renew(person, means, typed, hashed, at)
        return person

    def _renew(
        self, person: PersonEntry, means: Means, typed: str, hashed: str | None, at: datetime
    ) -> None:
        if hashed is not None and self._passwords.is_stale(hashed):
            newer = self._passwords.hash(typed)
            with self._ledger.transaction(PROGRAM, at) as records:
                records.rehash(person.name, means, newer)

    def _refuse_many_tries(self, person: PersonEntry, means: Means, at: datetime) -> None:
        with self._ledger.reading() as records:
            history = records.proofs(person.name)
        since = person.pin_since if means is Means.PIN else person.password_since
        wrong = people_rules.wrong_in_row(history, means, since)
        if means is Means.PIN and wrong >= TRIES.pins_in_row:
            what, mend = "the PIN was wrong too often", "Give the password this time."
        elif means is Means.PASSWORD and wrong >= TRIES.in_row:
            what, mend = (
                "the password was wrong too often, and holds no longer",
                "Have an owner set another one.",
            )
        elif means is Means.PASSWORD and (wait := people_rules.seconds_to_wait(history, since, at)):
            minutes = int(wait // 60) + 1
            what, mend = "the password was wrong too often", f"Wait {minutes} min, then try again."
        else:
            return
        raise SignInError(what, where=f"person {person.name}", mend=mend)

    # -- people, secrets and tablets

    def add_person(self, name: str, role: Role, by: str, at: datetime) -> PersonEntry:
        """Record somebody who works with the records."""
        with self._ledger.transaction(by, at) as records:
            return records.add_person(name, role)

    def add_second(
        self, name: str, role: Role, password: str, by: str, at: datetime, own_password: str = ""
    ) -> PersonEntry:
        """Record somebody who can sign beside the owner, with a password, in one step.

        Parameters
        ----------
        name : str
            The second person; somebody on record without a password may be named.
        role : Role
            What they are to the shop.
        password : str
            Theirs.
        by : str
            The owner.
        at : datetime
            The present instant.
        own_password : str
            The owner's first one; a second person's never stands alone.

        Returns
        -------
        PersonEntry
            The second person.

        Raises
        ------
        RecordError
            If somebody of that name has a password already.
        """
        require_password(password, name)
        hashed = self._passwords.hash(password)
        if own_password:
            require_password(own_password, by)
        own = self._passwords.hash(own_password) if own_password else ""
        with self._ledger.transaction(by, at) as records:
            if own:
                records.set_secret(by, Means.PASSWORD, own)
            known = {name_key(person.name): person for person in records.people()}
            person = known.get(name_key(name)) or records.add_person(name, role)
            if person.password_since:
                raise RecordError(
                    f"{person.name} is on record, with a password",
                    where=f"person {person.name}",
                    mend="Go back and let them sign; under People their role can be looked at.",
                )
            if person.role is not role or not person.active:
                records.change_person(
                    person.name, role=role, active=True, why="signs as the second person"
                )
            return records.set_secret(person.name, Means.PASSWORD, hashed)

    def change_person(
        self, name: str, role: Role, *, active: bool, why: str, by: str, at: datetime
    ) -> PersonEntry:
        """Give a person another role, or let them rest or come back."""
        with self._ledger.transaction(by, at) as records:
            return records.change_person(name, role=role, active=active, why=why)

    def set_password(self, name: str, password: str, by: str, at: datetime) -> None:
        """Give a person a password; every session of theirs ends."""
        require_password(password, name)
        hashed = self._passwords.hash(password)
        with self._ledger.transaction(by, at) as records:
            records.set_secret(name, Means.PASSWORD, hashed)
            records.end_sessions(name)

    def set_pin(self, name: str, pin: str, by: str, at: datetime) -> None:
        """Give a person the PIN that signs on the shop's tablets."""
        require_pin(pin, name)
        hashed = self._passwords.hash(pin)
        with self._ledger.transaction(by, at) as records:
            records.set_secret(name, Means.PIN, hashed)

    def enrol_device(self, name: str, by: str, at: datetime) -> str:
        """Make the tablet at hand one of the shop's; give the secret that it holds from now on."""
        secret = self._draw()
        with self._ledger.transaction(by, at) as records:
            records.enrol_device(name, digest(secret))
        return secret

    def retire_device(self, name: str, why: str, by: str, at: datetime) -> None:
        """Take a tablet out of use."""
        with self._ledger.transaction(by, at) as records:
            records.retire_device(name, why)
