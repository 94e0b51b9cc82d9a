"""The page that takes a machine in: its order, its heads, and the work that is recommended."""

from typing import Literal
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from spinproof.app.intake import take_in
from spinproof.model.handover import ScopeState
from spinproof.model.job import JobFile, JobHead, JobScope, Process
from spinproof.web.access import Me
from spinproof.web.forms import FieldError, Form, Line, Posted, Text, Typed, blank
from spinproof.web.nouns import lines_of, made
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()
PLACES = ("upper", "lower", "single")
IN, OUT, NONE = "in scope", "left as it is", "there is none"
USUAL = """incoming inspection and decontamination record
tear down to parts
replace main bearings and shaft seal
replace door seal
balance rotor in two planes
dry, wet and final test with witnessed run"""
USUAL_SHARED = "inspect supply, exhaust, drain and frame"


class NewJob(Typed):
    """A machine with one or two heads, and what is recommended to be done."""

    job: Line
    order: Line
    shop: Line
    machine: Line
    head_1: Line
    position_1: Line
    words_1: Line
    work_1: Text
    second: Literal["there is none", "in scope", "left as it is"]
    head_2: Text = ""
    position_2: Text = ""
    words_2: Text = ""
    work_2: Text = ""
    shared: Text = ""
    work_shared: Text = ""


@router.get("/take-in")
def show_intake(shop: Shop, me: Me) -> Response:
    """Ask for a job."""
    jobs = shop.shop().jobs
    values = {
        "shop": jobs[0].shop if jobs else "",
        "position_1": PLACES[0],
        "position_2": PLACES[1],
        "second": NONE,
        "work_1": USUAL,
        "work_shared": USUAL_SHARED,
    }
    return intake_page(me, blank(me, "/take-in", **values))


def intake_page(me: Visitor, form: Form) -> Response:
    """Give the page that takes a machine in."""
    return render(
        "take_in.html",
        me=me,
        form=form,
        places=PLACES,
        seconds=(NONE, IN, OUT),
        simulated=False,
    )


@router.post("/take-in")
def take_machine_in(shop: Shop, me: Me, posted: Posted) -> Response:
    """Take a job of the full process in."""

    def act() -> str:
        job = job_of(posted.read(NewJob))
        take_in(shop.ledger, job, by=me.name)
        return f"/jobs/{quote(job.job)}/scope"

    return posted.carry_out(act, lambda form: intake_page(me, form))


def job_of(typed: NewJob) -> JobFile:
    """Give a job as it was typed.

    Parameters
    ----------
    typed : NewJob
        The form.

    Returns
    -------
    JobFile
        A job of the full process, its lines recommended and without an answer.

    Raises
    ------
    FieldError
        If something is missing, or does not hold together.
    """
    heads = [_head("1", typed.head_1, typed.position_1, typed.words_1, in_scope=True)]
    work = [(typed.head_1, text) for text in lines_of(typed.work_1)]
    if not work:
        raise FieldError({"work_1": "Write at least one line: what is recommended for the head."})
    if typed.second != NONE:
        _require_second(typed)
        second = typed.second == IN
        heads.append(_head("2", typed.head_2, typed.position_2, typed.words_2, in_scope=second))
        work += [(typed.head_2, text) for text in lines_of(typed.work_2)] if second else []
    if typed.shared:
        work += [(typed.shared, text) for text in lines_of(typed.work_shared)]
    lines = [_line(number, unit, text) for number, (unit, text) in enumerate(work, 1)]
    lines += [_left_out(len(lines) + 1, head) for head in heads if not head.in_scope]
    return made(
        lambda: JobFile(
            job=typed.job,
            order=typed.order,
            shop=typed.shop,
            machine=typed.machine,
            shared_module=typed.shared or None,
            process=Process.FULL,
            heads=tuple(heads),
            scope=tuple(lines),
        ),
        {"scope": "work_1", "heads": "head_1", "shared_module": "shared"},
        "head_1",
    )


def _require_second(typed: NewJob) -> None:
    missing = {
        name: "Fill this in, or say above that there is no second head."
        for name in ("head_2", "position_2", "words_2")
        if not getattr(typed, name)
    }
    if typed.second == IN and not lines_of(typed.work_2):
        missing["work_2"] = "Write at least one line: what is recommended for this head."
    if missing:
        raise FieldError(missing)


def _head(which: str, serial: str, position: str, words: str, *, in_scope: bool) -> JobHead:
    return made(
        lambda: JobHead(designation=serial, position=position, in_scope=in_scope, words=words),
        {
            "designation": f"head_{which}",
            "position": f"position_{which}",
            "words": f"words_{which}",
        },
        f"head_{which}",
    )


def _line(number: int, unit: str, text: str) -> JobScope:
    return made(
        lambda: JobScope(
            item=f"SC-{number:02d}", unit=unit, text=text, state=ScopeState.RECOMMENDED
        ),
        {"text": "work_1", "unit": "head_1"},
        "work_1",
    )


def _left_out(number: int, head: JobHead) -> JobScope:
    return JobScope(
        item=f"SC-{number:02d}",
        unit=head.designation,
        text="all work on this head",
        state=ScopeState.DECLINED,
        consequence="The head is shipped as received; it is neither tested nor released here.",
    )
