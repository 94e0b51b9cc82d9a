"""Electropolish, resistivity, oxygen, heater, wafer by their calculators, and what is refused."""

import pytest
from uncertainties import ufloat

from spinproof.app.calculating import calculate, figure_of
from spinproof.app.calculators.registry import CALCULATORS
from spinproof.app.calculators.resistivity import BY_METER
from spinproof.model.calculation import Calculation, Result
from spinproof.model.errors import OutOfRangeError
from spinproof.model.judgement import Verdict

POLISH = CALCULATORS["electropolish"].example
WATER = CALCULATORS["resistivity"].example
ROOM = CALCULATORS["oxygen"].example | {"reference": "20 °C"}
HEATER = CALCULATORS["nitrogen-heater"].example


def by_name(found: Calculation) -> dict[str, Result]:
    return {result.name: result for result in found.results}


def without(typed: dict[str, str], *starts: str) -> dict[str, str]:
    return {key: text for key, text in typed.items() if not key.startswith(starts)}


def refusal(name: str, typed: dict[str, str]) -> str:
    with pytest.raises(OutOfRangeError, match="cannot say") as caught:
        calculate(name, typed)
    return str(caught.value)


# -- electropolish


def test_the_bowl_of_the_demo_by_weighing_and_by_its_charge():
    found = by_name(calculate("electropolish", POLISH))

    assert found["weighed"].value == pytest.approx(20.47, abs=0.005)
    assert (found["bracket"].low, found["bracket"].high) == pytest.approx((20.09, 31.79), abs=0.01)
    assert found["charge"].value == pytest.approx(100.2, abs=0.05)
    assert found["density"].value == pytest.approx(20.0, abs=0.01)
    assert found["ra"].value == pytest.approx(0.363, abs=5e-4)
    assert found["weighed"].leads
    assert not found["bracket"].leads


def test_the_uncertainty_of_a_removal_is_that_of_its_area():
    typed = without(POLISH, "loss") | {
        "loss": "60.2 g", "loss.u": "0.1 g", "area.u": "2 %", "density.u": "0.25 %",
    }  # fmt: skip
    removed = by_name(calculate("electropolish", typed))["weighed"]
    expected = ufloat(60.2e-3, 1e-4) / (ufloat(7980, 19.95) * ufloat(0.3758, 0.007516)) * 1e6

    assert removed.value == pytest.approx(expected.nominal_value, rel=1e-9)
    assert removed.standard_uncertainty == pytest.approx(expected.std_dev, rel=1e-4)
    assert removed.shares[0].label == "Area that is polished"
    assert removed.shares[0].share > 0.95


def test_without_a_weighing_the_bracket_leads_and_its_upper_end_counts():
    weighed = by_name(calculate("electropolish", POLISH))
    found = calculate("electropolish", without(POLISH, "loss"))
    results = by_name(found)

    assert results["bracket"].leads
    assert "weigh before and after" in " ".join(found.warnings)
    assert results["spare"].value < weighed["spare"].value
    assert "upper end of the bracket" in (results["budget"].words or "")


def test_a_wall_that_earlier_polishes_used_up_is_refused():
    worn = {f"before.{n}.removed": "30 um" for n in (1, 2, 3)}
    found = by_name(calculate("electropolish", POLISH | worn))

    assert found["earlier"].value == pytest.approx(90.0)
    assert found["spare"].value == pytest.approx(100 - 90 - 20.47, abs=0.01)
    assert found["budget"].verdict is Verdict.FAIL
    both = by_name(calculate("electropolish", POLISH | {"faces": "both faces"}))
    assert both["spare"].value == pytest.approx(50 - 22.1 - 20.47, abs=0.01)


def test_a_weighing_that_no_charge_explains_is_told():
    found = calculate("electropolish", POLISH | {"loss": "120 g"})

    assert "more than this charge can dissolve" in " ".join(found.warnings)


def test_a_polish_of_which_nothing_is_known_is_refused():
    assert "neither a weighing nor" in refusal("electropolish", without(POLISH, "loss", "time"))
    assert "range of its law" in refusal("electropolish", POLISH | {"area": "0 dm2"})


# -- resistivity


def test_a_warm_reading_is_brought_to_25_degrees_by_water_and_salt_apart():
    """Ten ppb of salt: 7.044 at 40 degC is 13.06 at 25 degC; a plain 2 %/K gives 9.2."""
    found = by_name(calculate("resistivity", WATER | {"reading": "7.044 MOhm.cm"}))

    assert found["at_25"].value == pytest.approx(13.06, abs=0.01)
    assert found["at_25"].standard_uncertainty


def test_carbon_dioxide_of_the_air_explains_a_low_reading():
    typed = WATER | {"temperature": "25 degC", "dissolved": "100 ppb", "reading": "5 MOhm.cm"}
    found = calculate("resistivity", typed)
    results = by_name(found)

    assert results["carbonated"].value == pytest.approx(3.10, abs=0.01)
    assert results["open"].value == pytest.approx(1.005, abs=0.003)
    assert results["taken"].value == pytest.approx(742, abs=2)
    assert "Carbon dioxide from the air can explain" in " ".join(found.warnings)


def test_a_reading_above_pure_water_is_called_a_fault():
    typed = without(WATER, "dissolved", "air") | {
        "reading": "18.9 MOhm.cm", "how": BY_METER, "temperature": "21 degC",
    }  # fmt: skip
    found = calculate("resistivity", typed)

    assert by_name(found)["pure"].value == pytest.approx(18.18, abs=0.02)
    assert "lies above pure water" in " ".join(found.warnings)


@pytest.mark.parametrize(
    "typed", [{"temperature": "70 degC"}, {"reading": "0 MOhm.cm"}, {"dissolved": "20 ppm"}]
)
def test_water_outside_the_laws_is_refused(typed: dict[str, str]):
    assert "Give a" in refusal("resistivity", WATER | typed)


def test_a_reading_that_no_water_gives_is_refused():
    assert "no water reads so" in refusal("resistivity", WATER | {"reading": "1000 MOhm.cm"})


# -- oxygen


def test_a_ventilated_room_settles_and_is_never_cleared():
    """50 m3, 300 m3/h of fresh air, 200 L/min of nitrogen: 20.144 % in the end."""
    found = by_name(calculate("oxygen", ROOM))

    assert found["lasting"].value == pytest.approx(20.1442, abs=5e-4)
    assert found["then"].value == pytest.approx(20.4290, abs=5e-4)
    assert "time" not in found
    assert found["warning"].verdict is None
    assert "it clears no room" in (found["warning"].words or "")


def test_a_room_without_ventilation_warns_with_its_time():
    found = by_name(calculate("oxygen", ROOM | {"air": "0 m3/h"}))

    assert found["warning"].verdict is Verdict.FAIL
    assert found["time"].value == pytest.approx(1075.86 / 60, abs=0.01)
    assert found["lasting"].value == 0.0


def test_a_fixed_extract_loses_its_fresh_air_to_the_leak():
    found = by_name(calculate("oxygen", ROOM | {"way": "room air is drawn out"}))

    assert found["lasting"].value == pytest.approx(20.112, abs=1e-3)


def test_the_course_of_the_oxygen_is_drawn_with_its_level():
    assert "oxygen-deficient below 19.5 %" in (figure_of("oxygen", ROOM) or "")
    assert "nothing moves" in refusal("oxygen", ROOM | {"air": "0 m3/h", "nitrogen": "0 slm"})


# -- heater and wafer


def test_the_warm_up_of_a_heater():
    """600 W, 800 J/K and 3.6038 W/K: 166.49 K in the end with a time constant of 221.99 s."""
    found = by_name(calculate("nitrogen-heater", HEATER | {"after": "99.2024 s"}))

    assert found["rise"].value == pytest.approx(166.5, abs=0.1)
    assert found["constant"].value == pytest.approx(222.0, abs=0.1)
    assert found["then"].value == pytest.approx(20 + 60.0, abs=0.05)


def test_heat_without_flow_is_refused():
    assert "flow" in refusal("nitrogen-heater", without(HEATER, "loss") | {"flow": "0 slm"})


def test_a_wafer_at_full_speed():
    found = calculate("wafer", CALCULATORS["wafer"].example)
    results = by_name(found)

    assert results["g"].value == pytest.approx(876.703, abs=1e-3)
    assert results["stress"].value == pytest.approx(0.82047, abs=1e-5)
    assert results["rim"].value == pytest.approx(29.322, abs=1e-3)
    assert results["mass"].value == pytest.approx(53.047, abs=1e-3)
    assert found.warnings == ()
    closer = calculate("wafer", CALCULATORS["wafer"].example | {"edge": "90 mm"})
    assert "closer to the axis" in closer.warnings[0]
