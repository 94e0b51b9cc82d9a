"""The pages of positions, parts, tags and findings."""

from typing import Annotated, Literal
from urllib.parse import quote

from fastapi import APIRouter
from markupsafe import Markup
from pydantic import StringConstraints, create_model
from starlette.responses import Response

from spinproof.app.clock import utc_now
from spinproof.app.part_deeds import FindingState, PartState
from spinproof.app.part_views import (
    part_of,
    position_of,
    positions_of,
)
from spinproof.app.stock_views import labels_of, new_labels_of, stock_of
from spinproof.figures.head_drawing import head_drawing
from spinproof.figures.qr import qr_code
from spinproof.model.check import Energy
from spinproof.model.errors import GateClosedError, RecordError, TagError
from spinproof.model.matter import Finding, Lockout
from spinproof.model.part import Provenance, Severity
from spinproof.web.access import Me
from spinproof.web.deeds import (
    AS_BEFORE,
    MARKS,
    Parts,
    TypedDeed,
    TypedPart,
    claimed,
    forms_of,
    may_write,
    with_camera,
)
from spinproof.web.forms import Form, Line, Posted, Text, at_field
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()
GIVEN = tuple(each.value for each in Provenance if each is not Provenance.MISSING)
Told = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=600)]
"""What somebody tells in a few sentences."""
PAPERS = ("a4", "letter")


class TypedLock(TypedDeed):
    """A lockout; each energy is locked, or left on because the work needs it."""

    where: Line
    verification: Line


LOCKED, LEFT_ON = "locked", "left on"
ENERGIES = {f"energy-{place}": energy for place, energy in enumerate(Energy)}
"""Every energy by its field."""
NewLock = create_model(
    "NewLock",
    __base__=TypedLock,
    **dict.fromkeys(ENERGIES, (Literal["locked", "left on"], ...)),  # type: ignore[call-overload]  # the fields are made from data
)


class Fitting(TypedDeed):
    """A part that is fitted."""

    tag: Line
    provenance: Line = AS_BEFORE


class Seen(TypedDeed):
    """A finding."""

    severity: Severity
    text: Told
    recommendation: Text = ""


class Moved(TypedDeed):
    """What becomes of a part outside a head."""

    state: PartState
    provenance: Line = AS_BEFORE


class Stocked(TypedPart):
    """A part that comes in."""

    position: Line
    provenance: Provenance


class FindingStep(TypedDeed):
    """A step of a finding."""

    state: FindingState
    item: Text = ""


@router.get("/positions/{unit}")
def show_positions(shop: Shop, me: Me, unit: str) -> Response:
    """Show a head, or what the heads share, as its positions."""
    return positions_page(shop, me, unit)


def positions_page(shop: Shop, me: Visitor, unit: str, sent: Form | None = None) -> Response:
    """Give the page of a head's positions, with a form that was sent as it stood."""
    page = positions_of(shop.ledger, unit, utc_now().date())
    base = f"/positions/{quote(unit)}"
    cells = [line.cell(f"{base}/{line.place.code}") for line in page.lines]
    return with_camera(
        render(
            "positions.html",
            page=page,
            job=shop.job(page.job),
            drawing=_own(head_drawing(unit, cells)),
            form=forms_of(me, sent),
            may_write=may_write(me),
            energies=[(name, energy.value) for name, energy in ENERGIES.items()],
            marks=MARKS,
            simulated=False,
        )
    )


@router.post("/positions/{unit}/lockout")
def lock_out(shop: Shop, parts: Parts, me: Me, posted: Posted, unit: str) -> Response:
    """Record that energies are locked and verified, before a hand goes in."""

    def act() -> str:
        typed = posted.read(NewLock)
        said = {ENERGIES[name]: posted.values[name] for name in ENERGIES}
        lock = Lockout(
            where=typed.where,
            locked=tuple(energy for energy, word in said.items() if word == LOCKED),
            left_on=tuple(energy for energy, word in said.items() if word == LEFT_ON),
            verification=typed.verification,
        )
        parts.lock_out(unit, lock, typed.act(me))
        return f"/positions/{quote(unit)}#lockouts"

    return posted.carry_out(act, lambda form: positions_page(shop, me, unit, form))


@router.post("/positions/{unit}/lockout/{name}/remove")
def unlock(shop: Shop, parts: Parts, me: Me, posted: Posted, unit: str, name: str) -> Response:
    """Record that a lockout was removed."""

    def act() -> str:
        parts.unlock(name, posted.read(TypedDeed).act(me))
        return f"/positions/{quote(unit)}#lockouts"

    return posted.carry_out(act, lambda form: positions_page(shop, me, unit, form))


@router.get("/positions/{unit}/{code}")
def show_position(shop: Shop, me: Me, unit: str, code: str) -> Response:
    """Show one position: what sits there, what was found, what happened, what may be done."""
    return position_page(shop, me, unit, code)


def position_page(
    shop: Shop, me: Visitor, unit: str, code: str, sent: Form | None = None
) -> Response:
    """Give the page of a position, with a form that was sent as it stood."""
    view = position_of(shop.ledger, unit, code, utc_now().date())
    return with_camera(
        render(
            "position.html",
            view=view,
            job=shop.job(view.page.job),
            form=forms_of(me, sent),
            may_write=may_write(me),
            severities=[severity.value for severity in Severity],
            provenances=GIVEN,
            scope_lines=tuple(f"{e.item} {e.text}" for e in view.line.lines),
            marks=MARKS,
            simulated=False,
        )
    )


@router.post("/positions/{unit}/{code}/found")
def record_found(
    shop: Shop, parts: Parts, me: Me, posted: Posted, unit: str, code: str
) -> Response:
    """Record the part that came with a head, where it sits."""

    def act() -> str:
        typed = posted.read(TypedPart)
        with at_field("tag", TagError, RecordError):
            parts.record_found(unit, code, typed.part(), typed.act(me))
        return _place(unit, code)

    return posted.carry_out(act, lambda form: position_page(shop, me, unit, code, form))


@router.post("/positions/{unit}/{code}/fit")
def fit_part(shop: Shop, parts: Parts, me: Me, posted: Posted, unit: str, code: str) -> Response:
    """Fit a part, or replace the one that sits there."""

    def act() -> str:
        typed = posted.read(Fitting)
        with at_field("tag", TagError, RecordError, GateClosedError):
            parts.fit(unit, code, typed.tag, claimed(typed.provenance), typed.act(me))
        return _place(unit, code)

    return posted.carry_out(act, lambda form: position_page(shop, me, unit, code, form))


@router.post("/positions/{unit}/{code}/take-out")
def take_out(shop: Shop, parts: Parts, me: Me, posted: Posted, unit: str, code: str) -> Response:
    """Take the part of a position out."""

    def act() -> str:
        tag = parts.take_out(unit, code, posted.read(TypedDeed).act(me)).tag
        return f"/parts/{quote(tag)}"

    return posted.carry_out(act, lambda form: position_page(shop, me, unit, code, form))


@router.post("/positions/{unit}/{code}/empty")
def leave_empty(shop: Shop, parts: Parts, me: Me, posted: Posted, unit: str, code: str) -> Response:
    """Record that a position is empty, and why."""

    def act() -> str:
        parts.leave_empty(unit, code, posted.read(TypedDeed).act(me))
        return _place(unit, code)

    return posted.carry_out(act, lambda form: position_page(shop, me, unit, code, form))


@router.post("/positions/{unit}/{code}/finding")
def record_finding(
    shop: Shop, parts: Parts, me: Me, posted: Posted, unit: str, code: str
) -> Response:
    """Record what somebody saw at a position, on the part that sits there."""

    def act() -> str:
        typed = posted.read(Seen)
        line = position_of(shop.ledger, unit, code, utc_now().date()).line
        seen = Finding(
            text=typed.text,
            severity=typed.severity,
            position=line.place.code,
            tag=line.part.tag if line.part else None,
            recommendation=typed.recommendation or None,
        )
        parts.find(unit, seen, typed.act(me))
        return f"{_place(unit, code)}#findings"

    return posted.carry_out(act, lambda form: position_page(shop, me, unit, code, form))


@router.post("/findings/{name}")
def step_finding(shop: Shop, parts: Parts, me: Me, posted: Posted, name: str) -> Response:
    """Take a finding a step further."""
    finding = parts.finding(name)

    def act() -> str:
        typed = posted.read(FindingStep)
        item = typed.item.partition(" ")[0] or None
        with at_field("state", GateClosedError):
            parts.step_finding(name, typed.state, typed.act(me), item)
        return _page_of(finding.unit, finding.position, finding.tag)

    def again(form: Form) -> Response:
        if finding.unit and finding.position:
            return position_page(shop, me, finding.unit, finding.position, form)
        return part_page(shop, me, finding.tag or "", form)

    return posted.carry_out(act, again)


@router.get("/parts/{tag}")
def show_part(shop: Shop, me: Me, tag: str) -> Response:
    """Show one part: its tag as a code, where it is, and all that happened to it."""
    return part_page(shop, me, tag)


def part_page(shop: Shop, me: Visitor, tag: str, sent: Form | None = None) -> Response:
    """Give the page of a part, with a form that was sent as it stood."""
    view = part_of(shop.ledger, tag)
    return with_camera(
        render(
            "part.html",
            view=view,
            job=shop.job(view.part.job),
            code=_own(qr_code(view.part.tag)),
            form=forms_of(me, sent),
            may_write=may_write(me),
            provenances=GIVEN,
            scope_lines=(),
            marks=MARKS,
            simulated=False,
        )
    )


@router.post("/parts/{tag}/move")
def move_part(shop: Shop, parts: Parts, me: Me, posted: Posted, tag: str) -> Response:
    """Record what becomes of a part outside a head."""

    def act() -> str:
        typed = posted.read(Moved)
        with at_field("state", GateClosedError):
            parts.move(tag, typed.state, claimed(typed.provenance), typed.act(me))
        return f"/parts/{quote(tag)}"

    return posted.carry_out(act, lambda form: part_page(shop, me, tag, form))


@router.get("/jobs/{job}/parts")
def show_stock(shop: Shop, me: Me, job: str) -> Response:
    """Show all parts of a job."""
    return stock_page(shop, me, job)


def stock_page(shop: Shop, me: Visitor, job: str, sent: Form | None = None) -> Response:
    """Give the page of a job's parts, with a form that was sent as it stood."""
    stock = stock_of(shop.ledger, job)
    return with_camera(
        render(
            "stock.html",
            job=shop.job(job),
            found=stock.parts,
            codes=stock.codes,
            evidence=stock.evidence,
            form=forms_of(me, sent),
            may_write=may_write(me),
            provenances=GIVEN,
            marks=MARKS,
            simulated=False,
        )
    )


@router.post("/jobs/{job}/parts")
def take_into_stock(shop: Shop, parts: Parts, me: Me, posted: Posted, job: str) -> Response:
    """Take a part into stock."""

    def act() -> str:
        typed = posted.read(Stocked)
        code = typed.position.partition(" ")[0]
        with at_field("tag", TagError, RecordError):
            part = parts.take_into_stock(job, code, typed.part(), typed.provenance, typed.act(me))
        return f"/parts/{quote(part.tag)}"

    return posted.carry_out(act, lambda form: stock_page(shop, me, job, form))


@router.get("/jobs/{job}/labels")
def show_labels(
    shop: Shop,
    job: str,
    unit: str | None = None,
    tag: str | None = None,
    paper: str = "a4",
    new: Literal["yes", "no"] = "no",
) -> Response:
    """Show labels as they print: of a job's parts, of one head or part, or with new tags."""
    if new == "yes" and unit:
        labels = new_labels_of(shop.ledger, unit, utc_now().date())
    else:
        labels = tuple(x for x in labels_of(shop.ledger, job, unit) if tag in {None, x.tag})
    asked = {"unit": unit, "tag": tag, "new": new}
    return render(
        "labels.html",
        job=shop.job(job),
        unit=unit,
        new=new == "yes",
        labels=[(label, _own(qr_code(label.tag))) for label in labels],
        paper=paper if paper in PAPERS else PAPERS[0],
        asked="".join(f"&{key}={quote(value)}" for key, value in asked.items() if value),
        simulated=False,
    )


def _own(svg: str) -> Markup:
    """Let a drawing of our own into a page; its texts were escaped when it was drawn."""
    return Markup(svg)  # noqa: S704 - see above


def _place(unit: str, code: str) -> str:
    return f"/positions/{quote(unit)}/{quote(code)}"


def _page_of(unit: str | None, position: str | None, tag: str | None) -> str:
    if unit and position:
        return f"{_place(unit, position)}#findings"
    return f"/parts/{quote(tag or '')}"
