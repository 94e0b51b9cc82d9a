"""Calculators: units demanded, uncertainty carried, records that come out the same again."""

import math
import warnings
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.demo_files import JOB
from tests.shop import HEAD, Shop, open_shop
from uncertainties import ufloat

from spinproof.app.calculating import (
    CalculationDesk,
    calculate,
    calculator_named,
    differences_of,
    figure_of,
)
from spinproof.app.calculators.calculator import (
    Answer,
    Calculator,
    Inputs,
    Kind,
    Value,
    choice,
    number,
    quantity,
    rows,
)
from spinproof.app.calculators.reading import InputsError, read_inputs
from spinproof.app.calculators.registry import CALCULATORS
from spinproof.app.calculators.slots import read_slots, write_slots
from spinproof.app.calculators.spreading import Spreader
from spinproof.model.calculation import Calculation
from spinproof.model.errors import (
    DocumentError,
    OutOfRangeError,
    RecordError,
    SpinproofError,
)
from spinproof.model.quantity import Dimension

ROTOR = {"grade": "6.3 mm/s", "mass": "16.2 kg", "speed": "2000 rpm"}
EACH = pytest.mark.parametrize("calculator", CALCULATORS.values(), ids=list(CALCULATORS))
DRAWING = pytest.mark.parametrize(
    "calculator", [c for c in CALCULATORS.values() if c.draw], ids=lambda c: c.name
)


def problems(name: str, typed: dict[str, str]) -> dict[str, str]:
    with pytest.raises(InputsError) as caught:
        calculate(name, typed)
    return caught.value.fields


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    opened = open_shop(tmp_path)
    yield opened
    opened.ledger.close()


@EACH
def test_the_example_is_answered_with_its_law_and_its_cautions(calculator: Calculator):
    found = calculate(calculator.name, calculator.example)

    assert any(result.leads for result in found.results)
    assert all(r.value is None or math.isfinite(r.value) for r in found.results)
    assert len({result.name for result in found.results}) == len(found.results)
    assert found.formula
    assert found.sources
    assert found.model_error
    assert found.cautions


@EACH
def test_what_was_kept_comes_out_the_same_when_it_is_made_again(calculator: Calculator):
    kept = Calculation.from_document(calculate(calculator.name, calculator.example).to_document())

    assert kept == calculate(calculator.name, kept.typed)
    assert differences_of(kept) == ()


@EACH
def test_a_bare_number_is_refused_with_the_units_that_are_accepted(calculator: Calculator):
    asked = [f for f in calculator.fields if f.kind is Kind.QUANTITY]
    for field in asked:
        said = problems(calculator.name, calculator.example | {field.name: "7"})
        assert "The unit is missing" in said[field.name]
        assert field.units[0].replace("_g", "(g)") in said[field.name]
    for table in (f for f in calculator.fields if f.kind is Kind.ROWS):
        for column in (c for c in table.columns if c.kind is Kind.QUANTITY):
            key = f"{table.name}.1.{column.name}"
            said = problems(calculator.name, calculator.example | {key: "7"})
            assert "The unit is missing" in said[key]


@EACH
def test_each_field_has_an_example_and_no_input_beside_them_is_taken(calculator: Calculator):
    assert "no such input" in problems(calculator.name, {"colour": "red"})["colour"]
    for field in calculator.fields:
        assert field.label
        assert field.example or field.columns or field.kind is Kind.SLOTS or not field.required
        if field.required and field.kind in {Kind.QUANTITY, Kind.NUMBER}:
            left_out = {k: t for k, t in calculator.example.items() if k != field.name}
            assert "Fill this in" in problems(calculator.name, left_out)[field.name]


DRAWS = {"reading_u", "phase_u"}
"""Inputs of a balance that ask for thousands of draws; left out where only sizes matter."""


def numbers_of(calculator: Calculator) -> Iterator[tuple[str, str]]:
    """Give the key and the first unit of each number in the example."""
    fields = {field.name: field for field in calculator.fields}
    for key in calculator.example:
        name, _, rest = key.partition(".")
        field = fields[name]
        if rest:
            field = next(c for c in field.columns if c.name == rest.partition(".")[2])
        if field.kind in {Kind.QUANTITY, Kind.NUMBER}:
            yield key, field.units[0] if field.units else ""


@EACH
@pytest.mark.parametrize("size", ["0", "1e300"])
def test_no_size_of_an_input_ends_in_anything_but_an_answer_or_a_reason(
    calculator: Calculator, size: str
):
    example = {key: text for key, text in calculator.example.items() if key not in DRAWS}
    for key, unit in numbers_of(calculator):
        typed = example | {key: f"{size} {unit}".strip()}
        with suppress(SpinproofError):
            assert calculate(calculator.name, typed).results
            assert calculator.draw is None or figure_of(calculator.name, typed)


@DRAWING
def test_the_drawing_is_sound_and_the_same_for_the_same_inputs(calculator: Calculator):
    drawn = figure_of(calculator.name, calculator.example)

    assert drawn == figure_of(calculator.name, calculator.example)
    root = ElementTree.fromstring(drawn or "")  # noqa: S314 - our own drawing
    title = root.find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert title.text


def test_an_uncertain_input_reaches_the_result_as_an_independent_library_says():
    found = calculate("permissible-unbalance", ROTOR | {"mass.u": "0.2 kg", "speed.u": "1 %"})
    expected = 1e3 * 6.3 * ufloat(16.2, 0.2) / (ufloat(2000, 20) * math.pi / 30)

    whole = found.results[0]
    assert whole.value == pytest.approx(expected.nominal_value, rel=1e-12)
    assert whole.standard_uncertainty == pytest.approx(expected.std_dev, rel=1e-6)
    assert [share.label for share in whole.shares] == [
        "Mass of the rotor, with all that turns",
        "Highest speed in service",
    ]
    assert sum(share.share for share in whole.shares) == pytest.approx(1.0)


def test_a_result_that_an_uncertain_input_does_not_touch_stays_without_uncertainty():
    found = calculate("permissible-unbalance", ROTOR | {"mass.u": "0.2 kg"})
    by_name = {result.name: result for result in found.results}

    assert by_name["eccentricity"].standard_uncertainty is None
    assert by_name["total"].standard_uncertainty is not None


def test_outside_the_law_nothing_is_said_but_why():
    with pytest.raises(OutOfRangeError, match="cannot say") as caught:
        calculate("permissible-unbalance", ROTOR | {"mass": "0 kg"})

    assert "above zero" in caught.value.mend
    assert "permissible-unbalance" in caught.value.where


@pytest.mark.parametrize(
    ("typed", "key", "said"),
    [
        ({"mass": "heavy"}, "mass", "does not begin with a number"),
        ({"mass": "16.2 mm"}, "mass", "unit of length"),
        ({"mass.u": "0.2"}, "mass.u", "The unit is missing"),
        ({"mass.u": "-1 kg"}, "mass.u", "zero or more"),
        ({"grade.u": "1 mm/s"}, "grade.u", "No uncertainty is taken"),
        ({"mass": "1e999 kg"}, "mass", "too large"),
        ({"mass": "-16.2 kg"}, "mass", "is below zero"),
        ({"mass": "1,200 kg"}, "mass", "can be read as"),
        ({"mass": f"{1:01200d} kg"}, "mass", "At most 1000 characters"),
    ],
)
def test_what_cannot_be_read_is_said_at_its_input(typed: dict[str, str], key: str, said: str):
    assert said in problems("permissible-unbalance", ROTOR | typed)[key]


def test_what_a_law_warns_of_reaches_the_answer(monkeypatch: pytest.MonkeyPatch):
    def warns(inputs: Inputs) -> Answer:
        warnings.warn("film_law: 1 of 1 inputs are beyond 0 to 60 degC", UserWarning, stacklevel=2)
        return Answer((Value("h", "Film", 1e-6, "um", leads=True),))

    calculator = replace(CALCULATORS["permissible-unbalance"], compute=warns)
    monkeypatch.setitem(CALCULATORS, calculator.name, calculator)

    assert calculate(calculator.name, ROTOR | {"mass.u": "1 %"}).warnings == (
        "An input lies beyond 0 to 60 degC, where the error of film law is known: a weaker answer.",
    )


def test_a_calculator_that_is_not_there_is_refused():
    with pytest.raises(RecordError, match="no such calculator"):
        calculator_named("horoscope")


# -- tables, turns and numbers, on a calculator of the tests


def _sum(inputs: Inputs) -> Answer:
    parts = [row.number("mass") * row.number("times") for row in inputs.rows("parts")]
    turned = math.remainder(sum(row.number("angle") for row in inputs.rows("parts")), 2 * math.pi)
    return Answer((Value("sum", "Sum", sum(parts), "g"), Value("angle", "Angle", turned, "deg")))


SCALE = Calculator(
    name="scale",
    title="Scale",
    task="Adds.",
    fields=(
        choice("how", "How", ("plainly", "twice")),
        rows(
            "parts",
            "Parts",
            (
                quantity("mass", "Mass", Dimension.MASS, "", uncertain=True),
                number("times", "Times", ""),
                quantity("angle", "Angle", Dimension.ANGLE, "", uncertain=True),
            ),
            (("1 g", "2", "90 deg"), ("3 g", "1", "90 deg")),
        ),
    ),
    compute=_sum,
    formula=("m = Σ m",),
    model_error="none",
    sources=("arithmetic",),
    cautions=("none",),
)


def test_rows_keep_their_order_and_empty_ones_between_them_vanish():
    typed = {
        "parts.2.mass": "1 g", "parts.2.times": "2", "parts.2.angle": "0 deg",
        "parts.10.mass": "3,5 g", "parts.10.times": "1e0", "parts.10.angle": "0 deg",
        "parts.5.mass": "  ",
    }  # fmt: skip
    reading = read_inputs(SCALE, typed)

    assert [each.name for each in reading.given][1:3] == ["parts.1.mass", "parts.1.times"]
    assert _sum(reading.inputs).results[0].si == pytest.approx(5.5e-3)
    assert reading.inputs.choice("how") == "plainly"


def test_a_row_that_is_half_filled_in_is_refused_at_the_empty_cell():
    with pytest.raises(InputsError) as caught:
        read_inputs(SCALE, {"parts.1.mass": "1 g", "parts.1.times": "2 g", "how": "thrice"})

    assert set(caught.value.fields) == {"how", "parts.1.times", "parts.1.angle"}
    assert "no plain number" in caught.value.fields["parts.1.times"]


def test_no_row_and_too_many_rows_are_refused():
    for typed in ({}, {f"parts.{n}.mass": "1 g" for n in range(1, 62)}):
        with pytest.raises(InputsError) as caught:
            read_inputs(SCALE, typed)
        assert "parts" in caught.value.fields


def test_an_angle_that_crosses_the_mark_keeps_its_small_uncertainty():
    """Half a turn and back again is no change of a whole turn."""
    typed = SCALE.example | {"parts.1.angle.u": "1 deg", "parts.2.mass.u": "10 %"}
    reading = read_inputs(SCALE, typed)
    spreader = Spreader(_sum, reading)
    total, angle = (r for r in _sum(reading.inputs).results if isinstance(r, Value))

    assert abs(angle.si) == pytest.approx(math.pi)
    assert spreader.uncertainty(angle)[0] == pytest.approx(math.radians(1))
    assert spreader.uncertainty(total)[0] == pytest.approx(0.3e-3)


def test_an_uncertainty_that_reaches_beyond_the_law_is_not_made_up():
    found = calculate("permissible-unbalance", ROTOR | {"mass": "0.1 kg", "mass.u": "3 kg"})

    assert found.results[0].standard_uncertainty is None
    assert "reach beyond the method" in (found.results[0].note or "")


# -- slots


@given(st.sets(st.tuples(st.integers(1, 4), st.integers(1, 50))))
def test_written_slots_are_read_as_the_same(loaded: set[tuple[int, int]]):
    in_order = tuple(sorted(loaded))

    assert read_slots(write_slots(in_order), "slots") == in_order


@pytest.mark.parametrize("text", ["1-", "x", "0", "5-3", "1 1", "a: 1", "1-3 2", "0: 1", "9999"])
def test_what_names_no_slots_is_refused(text: str):
    with pytest.raises(DocumentError):
        read_slots(text, "slots")


# -- kept with a job


def test_a_calculation_is_kept_with_a_head_and_found_again(shop: Shop):
    desk = CalculationDesk(shop.ledger)
    entry = desk.keep(calculate("permissible-unbalance", ROTOR), HEAD, "AS-2")
    whole = desk.keep(calculate("permissible-unbalance", ROTOR), JOB.job, "AS-2")

    assert (entry.job, entry.unit, whole.unit) == (JOB.job, HEAD, None)
    assert [each.id for each in desk.kept_with(JOB.job)] == [whole.id, entry.id]
    assert [each.id for each in desk.kept_with(HEAD)] == [entry.id]
    assert desk.kept(entry.id).differences == ()
    assert [place.name for place in desk.places()][:2] == [JOB.job, HEAD]


def test_a_place_that_is_not_there_is_refused_and_nothing_is_kept(shop: Shop):
    desk = CalculationDesk(shop.ledger)

    with pytest.raises(RecordError):
        desk.keep(calculate("permissible-unbalance", ROTOR), "QM-0", "AS-2")
    assert desk.kept_with(JOB.job) == ()


def test_what_is_known_of_a_head_is_filled_in(shop: Shop):
    filled = CalculationDesk(shop.ledger).of_head("permissible-unbalance", HEAD)

    assert filled == {"mass": "16.2 kg", "speed": "2000 rpm"}


def test_a_record_that_comes_out_otherwise_says_what():
    kept = calculate("permissible-unbalance", ROTOR)
    first = kept.results[0]
    other = first.model_copy(update={"value": (first.value or 0) + 1})
    changed = kept.model_copy(update={"results": (other, *kept.results[1:])})
    gone = kept.model_copy(update={"calculator": "horoscope"})
    shorter = kept.model_copy(update={"results": kept.results[:2]})

    assert "Whole rotor was 488.3" in differences_of(changed)[0]
    assert "refuses these inputs" in differences_of(gone)[0]
    assert "There were 2 results" in differences_of(shorter)[-1]
