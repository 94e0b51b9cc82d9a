"""The calculators of the bench: fill in, read the answer, keep it with the job.

Calculating changes nothing, so it is a GET whose address holds the inputs; keeping is a POST.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Request
from starlette.responses import Response

from spinproof.app.calculating import CalculationDesk, calculate, calculator_named, figure_of
from spinproof.app.calculators.calculator import Calculator, Kind
from spinproof.app.calculators.reading import InputsError
from spinproof.app.calculators.registry import CALCULATORS
from spinproof.app.calculators.slots import read_slots, write_slots
from spinproof.model.access import Thing
from spinproof.model.calculation import Calculation
from spinproof.model.errors import DocumentError, RecordError, SpinproofError
from spinproof.web.access import Me
from spinproof.web.deeds import may_write
from spinproof.web.faults import Fault, fault_of
from spinproof.web.forms import FieldError, Form, Posted, blank
from spinproof.web.rendering import render
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

router = APIRouter()

GO, PLACE, EARLIER = "go", "with", "earlier"
"""Keys of an address that are no inputs: calculate now; the job or head; what is on record."""
SPARE_ROWS = 2
"""Empty rows that a table offers after those that are filled in."""


@dataclass(frozen=True)
class Sheet:
    """What the page of a calculator shows."""

    calculator: Calculator
    typed: Mapping[str, str]
    place: str = ""
    found: Calculation | None = None
    errors: Mapping[str, str] = field(default_factory=dict)
    problem: Fault | None = None

    @property
    def status(self) -> int:
        """Status of the answer."""
        if self.problem is not None:
            return self.problem.status
        return 422 if self.errors else 200

    @property
    def board(self) -> tuple[int, int]:
        """Cassettes, and slots of each, to be tapped."""
        return self.calculator.board(self.typed) if self.calculator.board else (0, 0)

    @property
    def tapped(self) -> frozenset[str]:
        """Slots that are tapped, as cassette.slot."""
        kinds = [each.name for each in self.calculator.fields if each.kind is Kind.SLOTS]
        try:
            found = read_slots(self.typed.get(kinds[0], ""), kinds[0]) if kinds else ()
        except DocumentError:
            found = ()
        return frozenset(f"{cassette}.{slot}" for cassette, slot in found)

    def fillings(self) -> tuple[tuple[str, str], ...]:
        """Give loads that one tap fills in, each with its words."""
        cassettes, each = self.board
        every = range(1, each + 1)
        loads = (
            ("Every slot", every),
            ("Odd slots", every[::2]),
            ("No slot", every[:0]),
        )
        return tuple(
            (words, write_slots(tuple((c + 1, slot) for c in range(cassettes) for slot in chosen)))
            for words, chosen in loads
        )

    @property
    def loose(self) -> tuple[str, ...]:
        """Inputs that are wrong and have no field on the page."""
        shown = {name for each in self.calculator.fields for name in (each.name, f"{each.name}.u")}
        tables = {each.name for each in self.calculator.fields if each.kind is Kind.ROWS}
        return tuple(
            key for key in self.errors if key not in shown and key.partition(".")[0] not in tables
        )

    def rows(self, table: str) -> range:
        """Give the numbers of the rows of a table that the form offers."""
        filled = [int(p[1]) for k in self.typed if (p := k.split("."))[0] == table and len(p) > 2]
        return range(1, max(filled, default=1) + SPARE_ROWS + 1)

    def address(self, end: str = "", *, go: bool = True, **changed: str) -> str:
        """Give the address that calculates the same again, with some inputs changed."""
        asked = {**self.typed, **changed, **({PLACE: self.place} if self.place else {})}
        query = urlencode({**asked, **({GO: "1"} if go else {})})
        return f"{page_of(self.calculator.name)}{end}?{query}"

    @property
    def example(self) -> str:
        """Address at which the example is filled in and answered."""
        return Sheet(self.calculator, self.calculator.example, self.place).address()

    @property
    def spreads(self) -> bool:
        """Whether a standard uncertainty may be typed anywhere."""
        return any(each.uncertain for each in self.calculator.fields)

    @property
    def wide(self) -> bool:
        """Whether the form holds tables or slots, and needs the whole width."""
        return any(each.kind in {Kind.ROWS, Kind.SLOTS} for each in self.calculator.fields)


def calculation_desk(shop: Shop) -> CalculationDesk:
    """Give what keeps calculations."""
    return CalculationDesk(shop.ledger)


Calculations = Annotated[CalculationDesk, Depends(calculation_desk)]
"""What a route asks for calculations."""


def page_of(name: str) -> str:
    """Give the address of a calculator."""
    return f"/calculators/{quote(name)}"


@router.get("/calculators")
def show_calculators(request: Request) -> Response:
    """Show all calculators."""
    return render(
        "calculators.html",
        calculators=tuple(CALCULATORS.values()),
        place=request.query_params.get(PLACE, ""),
        simulated=False,
    )


@router.get("/calculators/{name}")
def show_calculator(
    request: Request, desk: Calculations, shop: Shop, me: Me, name: str
) -> Response:
    """Show a calculator, with the answer when the address asks for one."""
    calculator = calculator_named(name)
    typed = read_typed(calculator, request.query_params.multi_items())
    place = request.query_params.get(PLACE, "")
    if GO not in request.query_params:
        filled = desk.of_head(name, place) if place and not typed else {}
        if EARLIER in request.query_params:
            typed |= desk.earlier(name, typed.get("part", ""))
        return _page(desk, me, Sheet(calculator, {**filled, **typed}, place))
    return _page(desk, me, _answered(Sheet(calculator, typed, place), shop.home.root))


@router.get("/calculators/{name}/figure.svg")
def draw_answer(request: Request, name: str) -> Response:
    """Draw the answer.

    Raises
    ------
    RecordError
        If the calculator draws nothing.
    """
    typed = read_typed(calculator_named(name), request.query_params.multi_items())
    figure = figure_of(name, typed)
    if figure is None:
        raise RecordError(
            "this calculator draws nothing",
            where=f"calculator {name}",
            mend="Look at its results.",
        )
    return Response(figure, media_type="image/svg+xml")


@router.post("/calculators/{name}/keep")
def keep_calculation(desk: Calculations, shop: Shop, me: Me, posted: Posted, name: str) -> Response:
    """Keep a calculation with a job or a head."""
    calculator = calculator_named(name)
    pairs = [(key, each) for key, values in posted.lists.items() for each in values]
    typed = read_typed(calculator, pairs)
    place = posted.values.get(PLACE, "")

    def act() -> str:
        found = calculate(name, typed)
        if not place:
            raise FieldError({PLACE: "Choose the job or the head that it belongs to."})
        return kept_page_of(desk.keep(found, place, me.name).id)

    def again(form: Form) -> Response:
        sheet = _answered(Sheet(calculator, typed, place), shop.home.root)
        return _page(desk, me, sheet, form)

    return posted.carry_out(act, again)


@router.get("/calculations/{number}")
def show_kept(desk: Calculations, number: int) -> Response:
    """Show a calculation on record."""
    kept = desk.kept(number)
    calculator = CALCULATORS.get(kept.entry.content.calculator)
    sheet = Sheet(calculator, kept.entry.content.typed) if calculator else None
    drawn = bool(calculator and calculator.draw and not kept.differences)
    return render("calculation.html", kept=kept, sheet=sheet, drawn=drawn, simulated=False)


def kept_page_of(number: int) -> str:
    """Give the address of a calculation on record."""
    return f"/calculations/{number}"


def read_typed(calculator: Calculator, pairs: list[tuple[str, str]]) -> dict[str, str]:
    """Give what was typed by key, from the fields of a form; tapped slots become one text.

    Parameters
    ----------
    calculator : Calculator
        Whose form it is.
    pairs : list of tuple of str
        Keys and texts; a key comes once for each box that is ticked.

    Returns
    -------
    dict of str to str
        Text by key, without what is empty or belongs to the page.
    """
    tapping = {each.name for each in calculator.fields if each.kind is Kind.SLOTS}
    typed: dict[str, str] = {}
    taps: dict[str, set[tuple[int, int]]] = {}
    for key, text in pairs:
        if key in {GO, PLACE, EARLIER} or not text.strip():
            continue
        cassette, _, slot = text.partition(".")
        if key in tapping and cassette.isdecimal() and slot.isdecimal():
            taps.setdefault(key, set()).add((int(cassette), int(slot)))
        else:
            typed[key] = text.strip()
    for key, slots in taps.items():
        typed[key] = write_slots(tuple(sorted(slots)))
    return typed


def _answered(sheet: Sheet, root: Path) -> Sheet:
    try:
        found = calculate(sheet.calculator.name, sheet.typed)
    except InputsError as error:
        return Sheet(sheet.calculator, sheet.typed, sheet.place, errors=error.fields)
    except SpinproofError as error:
        return Sheet(sheet.calculator, sheet.typed, sheet.place, problem=fault_of(error, root))
    return Sheet(sheet.calculator, sheet.typed, sheet.place, found)


def _page(desk: CalculationDesk, me: Visitor, sheet: Sheet, sent: Form | None = None) -> Response:
    keep = sent or blank(me, f"{page_of(sheet.calculator.name)}/keep", **{PLACE: sheet.place})
    return render(
        "calculator.html",
        status=sheet.status,
        sheet=sheet,
        calculator=sheet.calculator,
        keep=keep,
        places=desk.places() if sheet.found and may_write(me, Thing.RUNS) else (),
        may_keep=may_write(me, Thing.RUNS),
        simulated=False,
    )
