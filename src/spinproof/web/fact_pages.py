"""The page of facts: what is stated about a head or its shared module, and a form for each kind."""

from collections.abc import Callable
from typing import Annotated, Literal
from urllib.parse import quote

from fastapi import APIRouter, Depends
from starlette.responses import Response

from spinproof.app.fact_deeds import FactDesk
from spinproof.model.access import Thing
from spinproof.model.attestation import (
    AgreedLimit,
    Attestation,
    Balance,
    ClockCheck,
    Decontamination,
    Direction,
    HeldPaper,
    Plane,
    RoomAir,
    Unloading,
)
from spinproof.model.errors import RecordError, TagError
from spinproof.model.limit import Basis, DecisionRule, Limit
from spinproof.model.part import Paper
from spinproof.web.access import Me
from spinproof.web.deeds import TypedDeed, forms_of, may_write
from spinproof.web.forms import FieldError, Form, Line, Posted, PostedForm, Text, at_field
from spinproof.web.nouns import lines_of, made, number, number_or_none
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()


class TypedDecontamination(TypedDeed):
    """What may still cling to a head."""

    direction: Direction
    cleared: Literal["no", "yes"]
    hazards: Text = ""
    none_known_by: Text = ""
    method: Line


class TypedBalance(TypedDeed):
    """The balance of a rotor in a spindle."""

    rotor: Line
    spindle: Text = ""
    service_rpm: Line
    grade: Line
    residual_1: Line
    limit_1: Line
    residual_2: Text = ""
    limit_2: Text = ""
    uncertainty: Line


class TypedAir(TypedDeed):
    """The air of the room."""

    oxygen: Text = ""
    fresh_air: Text = ""
    nitrogen: Text = ""


class TypedClock(TypedDeed):
    """A device's clock against true time."""

    device: Line
    offset: Line
    uncertainty: Line


class TypedPaper(TypedDeed):
    """A paper behind a part."""

    tag: Line
    paper: Paper


class TypedLimit(TypedDeed):
    """A limit for a reading; its unit is the reading's."""

    reading: Line
    lower: Text = ""
    upper: Text = ""
    rule: DecisionRule
    basis: Basis
    source: Line
    approved_by: Line


class TypedUnloading(TypedDeed):
    """The wafers that came out of a run."""

    run: Line
    whole: int
    broken: int = 0


def fact_desk(shop: Shop) -> FactDesk:
    """Give what records facts."""
    return FactDesk(shop.ledger)


Facts = Annotated[FactDesk, Depends(fact_desk)]
"""What a route asks for facts."""


@router.get("/heads/{head}/facts")
def show_facts(shop: Shop, facts: Facts, me: Me, head: str) -> Response:
    """Show what is stated about a head or a shared module."""
    return fact_page(shop, facts, me, head)


def fact_page(
    shop: Shop, facts: FactDesk, me: Visitor, head: str, sent: Form | None = None
) -> Response:
    """Give the page of facts, with a form that was sent as it stood."""
    sheet = facts.sheet(head)
    return render(
        "facts.html",
        sheet=sheet,
        job=shop.job(sheet.job),
        present=facts.present(head),
        form=forms_of(me, sent),
        me=me,
        may_write=may_write(me, Thing.RUNS),
        may_limit=may_write(me, Thing.LIMITS),
        directions=tuple(Direction),
        papers=tuple(Paper),
        rules=tuple(DecisionRule),
        bases=tuple(Basis),
        simulated=False,
    )


Stating = Callable[[], tuple[Attestation, TypedDeed]]


class Page:
    """One visit to the page of facts that states something."""

    def __init__(self, shop: Shop, facts: Facts, me: Me, posted: Posted, head: str) -> None:
        self.shop, self.facts, self.me = shop, facts, me
        self.posted: PostedForm = posted
        self.head = head

    def state(self, read: Stating) -> Response:
        """State the fact that was typed, and show it."""

        def act() -> str:
            fact, typed = read()
            number_ = self.facts.state(self.head, fact, typed.act(self.me))
            return f"/heads/{quote(self.head)}/facts#fact-{number_}"

        return self.posted.carry_out(
            act, lambda form: fact_page(self.shop, self.facts, self.me, self.head, form)
        )

    def tag(self, field: str, text: str) -> str:
        """Give a tag that was typed in a field."""
        with at_field(field, TagError, RecordError):
            return self.facts.tag(text)


Visit = Annotated[Page, Depends(Page)]
"""What a route asks that states a fact."""


@router.post("/heads/{head}/facts/decontamination")
def state_decontamination(page: Visit) -> Response:
    """State what clings to a head, and whether it may be worked on or sent."""

    def read() -> tuple[Attestation, TypedDeed]:
        typed = page.posted.read(TypedDecontamination)
        hazards, nobody = lines_of(typed.hazards), typed.none_known_by
        if hazards and nobody:
            raise FieldError({"none_known_by": "Hazards are listed above: leave this empty."})
        if not hazards and not nobody:
            text = "List the hazards above, or give the name of who says that none is known."
            raise FieldError({"none_known_by": text})
        fact = made(
            lambda: Decontamination(
                direction=typed.direction,
                cleared=typed.cleared == "yes",
                hazards=hazards,
                none_known_by=nobody or None,
                method=typed.method,
            ),
            {},
            "hazards",
        )
        return fact, typed

    return page.state(read)


@router.post("/heads/{head}/facts/balance")
def state_balance(page: Visit) -> Response:
    """State the balance of a rotor in its spindle."""

    def read() -> tuple[Attestation, TypedDeed]:
        typed = page.posted.read(TypedBalance)
        planes = [_plane("1", typed.residual_1, typed.limit_1)]
        if typed.residual_2 or typed.limit_2:
            planes.append(_plane("2", typed.residual_2, typed.limit_2))
        rotor = page.tag("rotor", typed.rotor)
        spindle = page.tag("spindle", typed.spindle) if typed.spindle else None
        speed = number("service_rpm", typed.service_rpm)
        uncertainty = number("uncertainty", typed.uncertainty)
        fact = made(
            lambda: Balance(
                rotor=rotor,
                spindle=spindle,
                service_rpm=speed,
                grade=typed.grade,
                planes=tuple(planes),
                standard_uncertainty_g_mm=uncertainty,
            ),
            {"standard_uncertainty_g_mm": "uncertainty"},
            "rotor",
        )
        return fact, typed

    return page.state(read)


def _plane(which: str, residual: str, limit: str) -> Plane:
    left, most = f"residual_{which}", f"limit_{which}"
    found, allowed = number(left, residual), number(most, limit)
    return made(
        lambda: Plane(residual_g_mm=found, limit_g_mm=allowed),
        {"residual_g_mm": left, "limit_g_mm": most},
        left,
    )


@router.post("/heads/{head}/facts/room-air")
def state_air(page: Visit) -> Response:
    """State what air the room has in which nitrogen is let out."""

    def read() -> tuple[Attestation, TypedDeed]:
        typed = page.posted.read(TypedAir)
        oxygen = number_or_none("oxygen", typed.oxygen)
        fresh = number_or_none("fresh_air", typed.fresh_air)
        nitrogen = number_or_none("nitrogen", typed.nitrogen)
        fact = made(
            lambda: RoomAir(oxygen_percent=oxygen, fresh_air_m3_h=fresh, nitrogen_m3_h=nitrogen),
            {
                "oxygen_percent": "oxygen",
                "fresh_air_m3_h": "fresh_air",
                "nitrogen_m3_h": "nitrogen",
            },
            "oxygen",
        )
        return fact, typed

    return page.state(read)


@router.post("/heads/{head}/facts/clock-check")
def state_clock(page: Visit) -> Response:
    """State by how much a device's clock is off."""

    def read() -> tuple[Attestation, TypedDeed]:
        typed = page.posted.read(TypedClock)
        offset, spread = number("offset", typed.offset), number("uncertainty", typed.uncertainty)
        fact = made(
            lambda: ClockCheck(device=typed.device, offset_s=offset, uncertainty_s=spread),
            {"uncertainty_s": "uncertainty"},
            "offset",
        )
        return fact, typed

    return page.state(read)


@router.post("/heads/{head}/facts/paper")
def state_paper(page: Visit) -> Response:
    """State that a paper behind a part is held."""

    def read() -> tuple[Attestation, TypedDeed]:
        typed = page.posted.read(TypedPaper)
        return HeldPaper(tag=page.tag("tag", typed.tag), paper=typed.paper), typed

    return page.state(read)


@router.post("/heads/{head}/facts/agreed-limit")
def state_limit(page: Visit) -> Response:
    """State a limit that was agreed for a reading of a check."""

    def read() -> tuple[Attestation, TypedDeed]:
        typed = page.posted.read(TypedLimit)
        with at_field("reading", RecordError):
            check, reading = page.facts.reading(page.head, typed.reading)
        lower = number_or_none("lower", typed.lower)
        upper = number_or_none("upper", typed.upper)
        if lower is None and upper is None:
            raise FieldError({"upper": "Give the least, the most, or both."})
        limit = made(
            lambda: Limit(
                metric=reading.name,
                lower=lower,
                upper=upper,
                unit=reading.unit or "1",
                rule=typed.rule,
                basis=typed.basis,
                source=typed.source,
            ),
            {},
            "upper",
        )
        fact = made(
            lambda: AgreedLimit(
                check=check, reading=reading.name, limit=limit, approved_by=typed.approved_by
            ),
            {},
            "reading",
        )
        return fact, typed

    return page.state(read)


@router.post("/heads/{head}/facts/unloading")
def state_unloading(page: Visit) -> Response:
    """State what came out of a run; a wafer that is not whole raises a nonconformance."""

    def read() -> tuple[Attestation, TypedDeed]:
        typed = page.posted.read(TypedUnloading)
        fact = made(
            lambda: Unloading(run=typed.run, whole=typed.whole, broken=typed.broken), {}, "run"
        )
        return fact, typed

    return page.state(read)
