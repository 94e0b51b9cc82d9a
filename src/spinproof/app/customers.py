"""Who the customer of a job is: entered, looked at and changed, in the sealed store alone.

The ledger tells that somebody looked or changed something, and never whom or what it is about.
"""

from dataclasses import dataclass, field

from pydantic import ValidationError

from spinproof.app.clock import utc_now
from spinproof.app.evidence_desk import shop_vault
from spinproof.app.home import Home
from spinproof.evidence.identity import Identity, words_of
from spinproof.evidence.leaks import find_leaks
from spinproof.ledger.ledger import Ledger
from spinproof.model.access import Action, Thing, may, name_key
from spinproof.model.attestation import CustomerAccess, CustomerDeed, CustomerPurpose
from spinproof.model.errors import AccessError, DocumentError, GateClosedError, RecordError

FIELDS = ("names", "contacts", "addresses", "words")
"""What is written down about a customer, beside the alias."""

_LENGTHS = "Each needs two to 300 characters, and begins and ends with a letter or a digit."
_MENDS = {
    "alias": "Take one word that the shop uses instead, at most 80 characters.",
    "names": f"Give at least one. {_LENGTHS}",
}


@dataclass(frozen=True)
class Customer:
    """Who a customer is; shown in a log or a shell, it tells nothing."""

    alias: str = field(repr=False)
    """The word that the shop uses instead."""
    names: tuple[str, ...] = field(default=(), repr=False)
    """Of the company, its sites and its people."""
    contacts: tuple[str, ...] = field(default=(), repr=False)
    """E-mail and web addresses, telephone numbers."""
    addresses: tuple[str, ...] = field(default=(), repr=False)
    """Postal addresses, their parts cut by commas."""
    words: tuple[str, ...] = field(default=(), repr=False)
    """Anything else that gives the customer away."""


@dataclass(frozen=True)
class Look:
    """Somebody who dealt with the identity of a job's customer."""

    who: str
    at: str
    deed: str
    purpose: str


class CustomerDesk:
    """Enters, shows and changes who the customer of a job is, for those who may.

    Parameters
    ----------
    home : Home
        The shop's folders; the first customer makes the sealed store.
    ledger : Ledger
        Where each look and each change is told.
    """

    def __init__(self, home: Home, ledger: Ledger) -> None:
        self._home = home
        self._ledger = ledger

    def is_entered(self, job: str) -> bool:
        """Tell whether somebody has entered the customer of a job, and not who it is."""
        with self._ledger.reading() as records:
            records.job(job)
        return self._home.vault.exists() and shop_vault(self._home).customer_of(job) is not None

    def looks(self, job: str) -> tuple[Look, ...]:
        """Give who looked at the customer's identity or changed it, the latest first."""
        with self._ledger.reading() as records:
            facts = [fact for fact in records.attestations() if fact.job == records.job(job).name]
        return tuple(
            Look(fact.who, fact.at, fact.content.deed.value, fact.content.purpose.value)
            for fact in reversed(facts)
            if isinstance(fact.content, CustomerAccess)
        )

    def look(self, job: str, purpose: CustomerPurpose, *, by: str) -> Customer:
        """Show who the customer of a job is; the look is told by the audit trail first.

        Parameters
        ----------
        job : str
            The job.
        purpose : CustomerPurpose
            What for.
        by : str
            Who looks.

        Returns
        -------
        Customer
            The customer.

        Raises
        ------
        RecordError
            If there is no such job, or nobody has entered its customer.
        AccessError
            If the person may not see it.
        """
        require_right(self._ledger, by, Action.READ)
        held = self._held(job)
        if held is None:
            raise RecordError(
                "nobody has entered the customer of this job",
                where=f"job {job}",
                mend="Enter the customer first.",
            )
        self._tell(job, CustomerDeed.LOOKED, purpose, by)
        return Customer(held.alias, held.names, held.contacts, held.addresses, held.words)

    def enter(self, job: str, customer: Customer, *, by: str) -> None:
        """Enter the customer of a job; what is known of the same alias already stays known.

        Parameters
        ----------
        job : str
            The job; its order number comes from the ledger.
        customer : Customer
            Who it is. An alias that the shop knows needs no names again.
        by : str
            Who enters it.

        Raises
        ------
        RecordError
            If there is no such job.
        GateClosedError
            If its customer is entered already.
        DocumentError
            If something cannot be taken; the place names the field.
        AccessError
            If the person may not.
        """
        require_right(self._ledger, by, Action.WRITE)
        if self._held(job) is not None:
            raise GateClosedError(
                "the customer of this job is entered already",
                where=f"job {job}",
                mend="Change it instead.",
            )
        known = self._known(customer.alias)
        self._put(job, customer, known, CustomerDeed.ENTERED, by)

    def change(self, job: str, customer: Customer, *, by: str) -> None:
        """Change who the customer of a job is; what is given takes the place of what stood there.

        Parameters
        ----------
        job : str
            The job; under another alias it goes over to that customer, who keeps what is known.
        customer : Customer
            Who it is.
        by : str
            Who changes it.

        Raises
        ------
        RecordError
            If there is no such job, or nobody has entered its customer.
        DocumentError
            If something cannot be taken; the place names the field.
        AccessError
            If the person may not.
        """
        require_right(self._ledger, by, Action.WRITE)
        held = self._held(job)
        if held is None:
            raise RecordError(
                "nobody has entered the customer of this job",
                where=f"job {job}",
                mend="Enter it; there is nothing to change.",
            )
        if held.alias == customer.alias:
            known: Identity | None = held.model_copy(update=dict.fromkeys(FIELDS, ()))
        else:
            known = self._known(customer.alias)
        self._put(job, customer, known, CustomerDeed.CHANGED, by)

    def _held(self, job: str) -> Identity | None:
        with self._ledger.reading() as records:
            records.job(job)
        return shop_vault(self._home).customer_of(job) if self._home.vault.exists() else None

    def _known(self, alias: str) -> Identity | None:
        vault = shop_vault(self._home)
        return vault.identity(alias) if alias in vault.aliases() else None

    def _put(
        self, job: str, customer: Customer, known: Identity | None, deed: CustomerDeed, by: str
    ) -> None:
        with self._ledger.reading() as records:
            order = records.job(job).order
        identity = _identity(customer, known, job, order)
        with self._ledger.transaction(by, utc_now()) as records:
            records.state_fact(CustomerAccess(deed=deed, purpose=CustomerPurpose.CORRECT), job=job)
            shop_vault(self._home).put(identity, take_over=True)

    def _tell(self, job: str, deed: CustomerDeed, purpose: CustomerPurpose, by: str) -> None:
        with self._ledger.transaction(by, utc_now()) as records:
            records.state_fact(CustomerAccess(deed=deed, purpose=purpose), job=job)


def require_right(ledger: Ledger, by: str, action: Action) -> None:
    """Refuse somebody whose role may not; in a shop without people, the records are their holder's.

    Raises
    ------
    AccessError
        If the person is not on record, rests, or has a role that may not.
    """
    with ledger.reading() as records:
        people = records.people()
    if not people:
        return
    person = next((p for p in people if name_key(p.name) == name_key(by) and p.active), None)
    if person is None or not may(person.role, action, Thing.IDENTITY).allowed:
        raise AccessError(
            "who the customer is, is for the owner alone",
            where=f"person {by}",
            mend="Ask the owner.",
        )


def _identity(customer: Customer, known: Identity | None, job: str, order: str) -> Identity:
    """Make the record of a customer, without a trace of what was typed in any error.

    Raises
    ------
    DocumentError
        If something cannot be taken.
    """
    old = {} if known is None else known.to_document()
    document = {
        **old,
        "alias": customer.alias,
        "orders": {**old.get("orders", {}), job: order},
        **{
            name: list(dict.fromkeys([*old.get(name, ()), *getattr(customer, name)]))
            for name in FIELDS
        },
    }
    try:
        identity = Identity.from_document(document)
    except ValidationError as error:
        place = str(error.errors(include_input=False, include_url=False)[0]["loc"][0])
        raise DocumentError(
            f"the {place} cannot be taken as typed", where=place, mend=_MENDS.get(place, _LENGTHS)
        ) from None
    own = [word for word in words_of(identity, own_job=job) if word.what != "an alias"]
    if find_leaks(own, {"alias": identity.alias}):
        raise DocumentError(
            "the alias gives the customer away",
            where="alias",
            mend="Take a word that has nothing to do with the customer, for example an animal.",
        )
    return identity
