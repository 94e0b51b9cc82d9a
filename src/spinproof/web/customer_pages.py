"""The page of a job's customer: whether one is entered, and who, for those who may and ask."""

from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import StringConstraints
from starlette.responses import Response

from spinproof.app.customers import FIELDS, Customer, CustomerDesk
from spinproof.model.attestation import CustomerPurpose
from spinproof.model.errors import DocumentError
from spinproof.web.access import Me
from spinproof.web.deeds import forms_of
from spinproof.web.forms import FieldError, Form, Line, Posted, Typed, blank, said
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()

Lines = Annotated[str, StringConstraints(max_length=8000)]
"""Texts, one a line; empty lines say nothing."""


class TypedLook(Typed):
    """What somebody wants to see it for."""

    purpose: CustomerPurpose


class TypedCustomer(Typed):
    """Who the customer is."""

    alias: Line
    names: Lines = ""
    contacts: Lines = ""
    addresses: Lines = ""
    words: Lines = ""

    def customer(self) -> Customer:
        """Give it as the sealed store keeps it."""
        return Customer(self.alias, **{name: _lines(getattr(self, name)) for name in FIELDS})


def _lines(text: str) -> tuple[str, ...]:
    return tuple(line.strip() for line in text.splitlines() if line.strip())


def customer_desk(shop: Shop) -> CustomerDesk:
    """Give what knows the customers."""
    return CustomerDesk(shop.home, shop.ledger)


Customers = Annotated[CustomerDesk, Depends(customer_desk)]
"""What a route asks for the customers."""


@router.get("/jobs/{job}/customer")
def show_customer(shop: Shop, customers: Customers, me: Me, job: str) -> Response:
    """Show whether the customer is entered, and who looked; not who it is."""
    return customer_page(shop, customers, me, job)


def customer_page(
    shop: Shop,
    customers: CustomerDesk,
    me: Visitor,
    job: str,
    sent: Form | None = None,
    seen: Customer | None = None,
) -> Response:
    """Give the page, with a form that was sent as it stood, or with the customer that was seen."""
    here = f"/jobs/{shop.job(job).job}/customer"
    if seen is not None:
        sent = blank(me, here, alias=seen.alias, **_texts(seen))
    return render(
        "customer.html",
        job=shop.job(job),
        here=here,
        entered=customers.is_entered(job),
        seen=seen,
        looks=customers.looks(job),
        form=forms_of(me, sent),
        changing=sent is not None and sent.action == here,
        purposes=[each.value for each in CustomerPurpose if each is not CustomerPurpose.CORRECT],
        simulated=False,
    )


def _texts(customer: Customer) -> dict[str, str]:
    return {name: "\n".join(getattr(customer, name)) for name in FIELDS}


@router.post("/jobs/{job}/customer/look")
def look_at_customer(
    shop: Shop, customers: Customers, me: Me, posted: Posted, job: str
) -> Response:
    """Show who the customer is; each look is told by the audit trail."""

    def act() -> Response:
        typed = posted.read(TypedLook)
        seen = customers.look(job, typed.purpose, by=me.name)
        return customer_page(shop, customers, me, job, seen=seen)

    return posted.answer(act, lambda form: customer_page(shop, customers, me, job, form))


@router.post("/jobs/{job}/customer")
def set_customer(shop: Shop, customers: Customers, me: Me, posted: Posted, job: str) -> Response:
    """Enter or change who the customer is."""

    def act() -> str:
        typed = posted.read(TypedCustomer)
        put = customers.change if customers.is_entered(job) else customers.enter
        try:
            put(job, typed.customer(), by=me.name)
        except DocumentError as error:
            if error.where not in TypedCustomer.model_fields:
                raise
            raise FieldError({error.where: said(error)}) from None
        return posted.action

    return posted.carry_out(act, lambda form: customer_page(shop, customers, me, job, form))
