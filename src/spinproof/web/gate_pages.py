"""The pages of gates: the board of a head, one checkpoint with its checks, and its signatures."""

from typing import Literal
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from spinproof.app.clock import utc_now
from spinproof.app.floor_deeds import Floor
from spinproof.app.floor_views import GateBoard, GateLine, Meaning
from spinproof.app.people import PersonEntry
from spinproof.model.access import Action, Thing
from spinproof.model.errors import RecordError
from spinproof.web.access import Desk, Me
from spinproof.web.check_pages import OnFloor
from spinproof.web.forms import FieldError, Form, Posted, blank
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
        form=sent or blank(me, f"/heads/{head}/gates/{checkpoint}", answer="not now"),
        names=[person.name for person in people if person.active],
        me=me,
        simulated=False,
    )


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
