"""The pages of gates: the board of a head, one checkpoint with its checks, and its signatures."""

from typing import Literal
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from spinproof.app.clock import utc_now
from spinproof.app.floor_deeds import Floor
from spinproof.app.floor_views import GateBoard, GateLine, Meaning
from spinproof.app.people import PersonEntry
from spinproof.model.access import Action, Condition, Thing, may, name_key
from spinproof.model.check import EvidenceKind
from spinproof.model.errors import RecordError
from spinproof.web.access import Desk, Me
from spinproof.web.check_pages import OnFloor, attached
from spinproof.web.deeds import forms_of, may_write
from spinproof.web.forms import FieldError, Form, Posted
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.sign_in import Signature, signed_by
from spinproof.web.visitor import Visitor

router = APIRouter()

MAY_SIGN = {
    Meaning.PERFORMED: (Action.WRITE, Thing.RUNS),
    Meaning.VERIFIED: (Action.DECIDE, Thing.GATE),
}
"""What somebody must be allowed to do to give each signature."""


class GateSignature(Signature):
    """A signature of a gate; the answer that stands there first does nothing."""

    answer: Literal["not now", "performed", "verified"]


@router.get("/heads/{head}/gates")
def show_gates(head: str, shop: Shop, floor: OnFloor) -> Response:
    """Show the gate board of a head."""
    if not floor.keeps_gates(head):
        return render("gates_left_out.html", head=shop.head(head), simulated=False)
    board = floor.board(head, utc_now().date())
    return render("gates.html", board=board, job=shop.job(board.job), simulated=False)


@router.get("/heads/{head}/gates/{checkpoint}")
def show_gate(
    head: str, checkpoint: str, shop: Shop, floor: OnFloor, desk: Desk, me: Me
) -> Response:
    """Show one checkpoint: its checks, what keeps it closed, who signed."""
    return gate_page(head, checkpoint, shop, floor, desk.people(), me)


def gate_page(
    head: str,
    checkpoint: str,
    shop: Shop,
    floor: Floor,
    people: tuple[PersonEntry, ...],
    me: Visitor,
    sent: Form | None = None,
) -> Response:
    """Show one checkpoint, with the form that could not be carried out."""
    board = floor.board(head, utc_now().date())
    line = _line(board, checkpoint)
    return render(
        "gate.html",
        board=board,
        line=line,
        job=shop.job(board.job),
        form=forms_of(me, sent),
        names=signers(line, people),
        may_write=may_write(me, Thing.RUNS),
        may_add_people=me.may(Action.WRITE, Thing.SHOP, met=(Condition.PROVED,)).allowed,
        kinds=tuple(EvidenceKind),
        me=me,
        simulated=False,
    )


def signers(line: GateLine, people: tuple[PersonEntry, ...]) -> list[str]:
    """Give who may give the signature that is outstanding; who did the work never verifies it."""
    if line.outstanding is None:
        return []
    able = [
        person.name
        for person in people
        if person.active and may(person.role, *MAY_SIGN[line.outstanding]).allowed
    ]
    if line.outstanding is Meaning.PERFORMED:
        return able
    did = {name_key(name) for name in line.performers}
    return [name for name in able if name_key(name) not in did]


def _line(board: GateBoard, checkpoint: str) -> GateLine:
    line = board.line(checkpoint)
    if line is None:
        raise RecordError(
            "there is no such checkpoint",
            where=f"checkpoint {checkpoint} of head {board.head}",
            mend=f"Choose one of: {', '.join(each.checkpoint for each in board.lines)}.",
        )
    return line


@router.post("/heads/{head}/gates/{checkpoint}")
def sign_gate(
    head: str,
    checkpoint: str,
    posted: Posted,
    shop: Shop,
    floor: OnFloor,
    desk: Desk,
    me: Me,
) -> Response:
    """Sign a gate as who performed its work, or as who verified it."""

    def act() -> str:
        place = f"/heads/{quote(head)}/gates/{quote(checkpoint)}"
        typed = posted.read(GateSignature)
        if typed.answer == "not now":
            raise FieldError({"answer": "Nothing is signed: say what you sign, or leave it."})
        line = _line(floor.board(head, utc_now().date()), checkpoint)
        meaning = Meaning(typed.answer)
        if line.outstanding is not meaning:
            raise FieldError({"answer": "This signature is not the next one; look again."})
        signer = signed_by(typed, desk, me, *MAY_SIGN[meaning])
        floor.sign(head, line.checkpoint, meaning, signer.name, signer.role)
        return place

    def again(form: Form) -> Response:
        return gate_page(head, checkpoint, shop, floor, desk.people(), me, form)

    return posted.carry_out(act, again)


@router.post("/heads/{head}/gates/{checkpoint}/evidence")
def attach_evidence(
    head: str,
    checkpoint: str,
    posted: Posted,
    shop: Shop,
    floor: OnFloor,
    desk: Desk,
    me: Me,
) -> Response:
    """Take a file in as evidence of a head, made at a checkpoint."""

    def act() -> str:
        line = _line(floor.board(head, utc_now().date()), checkpoint)
        attached(posted, floor, head, line.checkpoint.value, me)
        return f"/heads/{quote(head)}/gates/{quote(checkpoint)}#evidence"

    def again(form: Form) -> Response:
        return gate_page(head, checkpoint, shop, floor, desk.people(), me, form)

    return posted.carry_out(act, again)
