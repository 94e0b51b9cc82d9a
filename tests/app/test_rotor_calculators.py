"""Balance, load and drive by their calculators: the demo's jobs, and what is refused."""

import math
from cmath import phase, rect

import pytest

from spinproof.app.calculating import calculate, figure_of
from spinproof.app.calculators.registry import CALCULATORS
from spinproof.model.calculation import Calculation, Result
from spinproof.model.errors import OutOfRangeError
from spinproof.model.judgement import Verdict
from spinproof.model.limit import DecisionRule

BALANCE = CALCULATORS["balance"].example
LOAD = {
    "axis": "off-axis",
    "cassettes": "2",
    "each": "25",
    "loaded": "1: 1-25; 2: 1-24",
    "wafer": "27.7809 g",
    "seat": "0 mm",
    "rotor": "21.5 kg",
    "speed": "1150 rpm",
    "radius": "150 mm",
}


def by_name(found: Calculation) -> dict[str, Result]:
    return {result.name: result for result in found.results}


def without(typed: dict[str, str], start: str) -> dict[str, str]:
    return {key: text for key, text in typed.items() if not key.startswith(start)}


def refusal(name: str, typed: dict[str, str]) -> str:
    with pytest.raises(OutOfRangeError, match="cannot say") as caught:
        calculate(name, typed)
    return str(caught.value)


# -- balance: the rotor alone, 11.8 kg, two planes


def test_the_corrections_of_the_demo_rotor():
    found = by_name(calculate("balance", BALANCE))

    for plane, mass, angle in ((1, 9.397, 317.03), (2, 6.090, 70.95)):
        assert found[f"mass_{plane}"].value == pytest.approx(mass, abs=5e-4)
        assert found[f"angle_{plane}"].value == pytest.approx(angle, abs=5e-3)
        assert found[f"mass_{plane}"].unit == "g"
        assert found[f"mass_{plane}"].standard_uncertainty
    assert found["condition"].value == pytest.approx(1.85, abs=0.01)


@pytest.mark.parametrize(
    ("rule", "verdict"),
    [
        (DecisionRule.GUARDED_BY_U, Verdict.UNDECIDED),
        (DecisionRule.GUARDED, Verdict.UNDECIDED),
        (DecisionRule.SIMPLE, Verdict.PASS),
    ],
)
def test_the_rule_that_was_agreed_decides_and_prints(rule: DecisionRule, verdict: Verdict):
    found = by_name(calculate("balance", BALANCE | {"rule": rule}))

    assert found["limit"].value == pytest.approx(64.02, abs=0.01)
    assert found["verdict_1"].verdict is Verdict.PASS
    assert found["verdict_2"].verdict is verdict
    assert "probability of conformity 0.945" in (found["verdict_2"].note or "")
    assert rule.value.split("-")[0] in (found["verdict_2"].note or "")


def test_guard_and_risk_part_where_a_tenth_of_a_risk_was_agreed():
    """52 + 15 g mm lies above 64.02: the guard by U does not accept; P = 0.9455 is above 0.90."""
    agreed = BALANCE | {"probability": "90 %"}
    guarded = by_name(calculate("balance", agreed | {"rule": DecisionRule.GUARDED_BY_U}))
    by_risk = by_name(calculate("balance", agreed | {"rule": DecisionRule.BY_RISK}))

    assert guarded["verdict_2"].verdict is Verdict.UNDECIDED
    assert by_risk["verdict_2"].verdict is Verdict.PASS
    assert "90 % or more" in (by_risk["verdict_2"].note or "")
    assert "0.945" in (by_risk["verdict_2"].note or "")


def test_a_probability_that_decides_nothing_is_refused():
    with pytest.raises(OutOfRangeError):
        calculate("balance", BALANCE | {"rule": DecisionRule.BY_RISK, "probability": "30 %"})


def test_both_planes_pass_the_coarser_grade():
    found = by_name(calculate("balance", BALANCE | {"grade": "6.3 mm/s"}))

    assert found["limit"].value == pytest.approx(161.3, abs=0.05)
    assert {found[f"verdict_{n}"].verdict for n in (1, 2)} == {Verdict.PASS}


def test_the_holes_share_a_correction_without_changing_it():
    found = by_name(calculate("balance", BALANCE | {"holes": "8"}))
    said = (found["holes_1"].words or "").split(" and ")
    parts = [
        rect(float(grams), math.radians(float(degrees.rstrip("°"))))
        for grams, _, _, degrees in (part.split() for part in said)
    ]

    assert abs(sum(parts)) == pytest.approx(found["mass_1"].value, rel=1e-3)
    assert math.degrees(phase(sum(parts))) % 360 == pytest.approx(found["angle_1"].value, abs=0.05)


def test_a_trial_mass_that_stays_on_is_taken_off_the_correction():
    """Published case with kept trials: the total is 15.33 at 2.9 deg; 8.36 at 318.0 deg is left."""
    rows = (
        ("as found", ".68@32 .56@86", "1.94@231 2.07@335"),
        ("trial in plane 1", "1.31@1 1.25@75", ".93@251 1@342"),
        ("trial in plane 2", ".54@9 .52@75", ".81@196 .9@296"),
    )
    typed = {}
    for place, (run, *cells) in enumerate(rows):
        for speed, cell in enumerate(cells):
            key = f"readings.{2 * place + speed + 1}."
            typed |= {key + "run": run, key + "speed": f"{1000 * (speed + 1)} rpm"}
            for sensor, reading in enumerate(cell.split(), start=1):
                amplitude, angle = reading.split("@")
                typed[f"{key}amplitude_{sensor}"] = f"{float(amplitude)} mm/s"
                typed[f"{key}phase_{sensor}"] = f"{angle} deg"
    for plane, mass, angle in (("1", "11.1", "35"), ("2", "3.7", "135")):
        typed |= {
            f"trials.{plane}.plane": plane,
            f"trials.{plane}.mass": f"{mass} g",
            f"trials.{plane}.radius": "100 mm",
            f"trials.{plane}.angle": f"{angle} deg",
            f"trials.{plane}.then": "stays on",
        }
    found = by_name(calculate("balance", typed))

    total = rect(found["found_1"].value / 100, math.radians(found["found_angle_1"].value))
    assert abs(total) == pytest.approx(15.33, abs=0.01)
    assert found["mass_1"].value == pytest.approx(8.3617, abs=2e-3)
    assert found["angle_1"].value == pytest.approx(318.037, abs=0.02)
    assert "in addition" in (found["mass_1"].note or "")


def test_a_run_after_correction_shows_what_is_left_with_its_uncertainty():
    check = {
        "readings.4.run": "after correction",
        "readings.4.speed": "903 rpm",
        "readings.4.amplitude_1": "0.05 mm/s",
        "readings.4.phase_1": "30 deg",
        "readings.4.amplitude_2": "0.04 mm/s",
        "readings.4.phase_2": "200 deg",
    }
    typed = without(BALANCE, "residual_") | check
    told = by_name(calculate("balance", typed))
    untold = by_name(calculate("balance", without(typed, "floor")))

    assert told["left_1"].standard_uncertainty
    assert told["verdict_1"].verdict in {Verdict.PASS, Verdict.UNDECIDED, Verdict.FAIL}
    assert untold["verdict_1"].verdict is Verdict.NOT_MEASURED
    assert "uncertainty of the residual is missing" in (untold["verdict_1"].words or "")
    assert "left" in (figure_of("balance", typed) or "")


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (without(BALANCE, "trials."), "there are no trial masses"),
        (without(BALANCE, "trials."), "shows itself and harms nothing"),
        (without(BALANCE, "trials.2"), "the trial in plane 2 has no trial mass"),
        (without(BALANCE, "readings.1"), "there is no run as found"),
        (without(BALANCE, "readings.3"), 'the run "trial in plane 2" has no reading at 900 rpm'),
        (BALANCE | {"trials.1.mass": "0 g"}, "trial mass of every trial run"),
        (BALANCE | {"readings.2.speed": "960 rpm"}, "has no reading at 900 rpm"),
        (BALANCE | {"holes": "1e9"}, "holes share no correction"),
        (BALANCE | {"trials.2.plane": "1"}, "do not belong to plane 1, or to planes 1 and 2"),
        (without(BALANCE, "readings.2.phase_2"), "lacks its amplitude or its phase"),
        (
            BALANCE | {f"readings.2.{k}_{n}": BALANCE[f"readings.1.{k}_{n}"]
                       for k in ("amplitude", "phase") for n in (1, 2)},
            "changed nothing",
        ),
    ],
)  # fmt: skip
def test_readings_that_say_nothing_are_refused(typed: dict[str, str], said: str):
    assert said in refusal("balance", typed)


def test_a_weak_trial_and_a_rotor_that_changed_are_told():
    weak = {
        "readings.2.amplitude_1": "1.60 mm/s",
        "readings.2.phase_1": "184.9 deg",
        "readings.2.amplitude_2": "1.62 mm/s",
        "readings.2.phase_2": "254.3 deg",
    }
    again = {f"readings.4.{k}": BALANCE[f"readings.1.{k}"] for k in ("speed", "phase_1", "phase_2")}
    again |= {"readings.4.run": "as found, again"}
    again |= {"readings.4.amplitude_1": "1.5 mm/s", "readings.4.amplitude_2": "1.7 mm/s"}
    warnings = " ".join(calculate("balance", BALANCE | weak | again).warnings)

    assert "plane 1 changed no reading by more than 4 %" in warnings
    assert "did not repeat" in warnings


# -- load


def test_one_wafer_too_few_off_the_axis_is_refused_and_one_dummy_mends_it():
    found = by_name(calculate("load", LOAD))

    assert found["static"].value == pytest.approx(4167.1, abs=0.1)
    assert found["limit"].value == pytest.approx(1124.7, abs=0.1)
    assert found["force"].value == pytest.approx(60.4, abs=0.1)
    assert found["start"].verdict is Verdict.FAIL
    assert "refused" in (found["start"].words or "")
    assert found["dummies"].words == "2: 25"
    assert found["with_dummies"].verdict is Verdict.PASS


def test_a_full_load_is_allowed_and_needs_no_dummy():
    found = by_name(calculate("load", LOAD | {"loaded": "1: 1-25; 2: 1-25"}))

    assert found["start"].verdict is Verdict.PASS
    assert "dummies" not in found


def test_unequal_masses_decide_off_the_axis():
    """50 wafers of 200 mm with a gram of scatter at 200 mm: some 1494 g mm at one sigma."""
    found = by_name(
        calculate(
            "load",
            LOAD
            | {
                "loaded": "1: 1-25; 2: 1-25",
                "wafer": "53.0466 g",
                "radius": "200 mm",
                "scatter": "1.0561 g",
            },
        )
    )

    assert found["static"].standard_uncertainty == pytest.approx(1493.5, abs=0.5)
    assert found["start"].verdict is not Verdict.PASS


def test_on_the_axis_odd_slots_make_no_couple():
    typed = CALCULATORS["load"].example | {"loaded": "1 3 5 7 9 11 13 15 17 19 21 23 25"}
    odd = by_name(calculate("load", typed))
    first = by_name(calculate("load", typed | {"loaded": "1-13"}))

    assert odd["static"].value == pytest.approx(344.8, abs=0.1)
    assert odd["couple"].value == pytest.approx(0.0, abs=1e-6)
    assert first["couple"].value == pytest.approx(13137, abs=2)
    assert first["plane_2"].value - first["plane_1"].value == pytest.approx(2 * 65.7, abs=0.1)


def test_the_best_slots_are_told_with_what_is_known_of_them():
    first = by_name(calculate("load", CALCULATORS["load"].example))
    typed = LOAD | {"pitch": "4.76 mm", "planes": "150 mm"}
    around = by_name(calculate("load", typed))

    assert first["best"].words == "1: 1 3 5 7 9 11 13 15 17 19 21 23 25"
    assert "optimal" in (first["best"].note or "")
    assert "dummies in" in (around["best"].words or "")


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"loaded": "1: 1-26"}, "slot 26 of cassette 1 does not exist"),
        ({"loaded": "3: 1"}, "slot 1 of cassette 3 does not exist"),
        ({"cassettes": "2.5"}, "2.5 is no number of cassettes"),
        ({"each": "0"}, "0 is no number of slots"),
        ({"axis": "on-axis"}, "a rotor on the axis holds one cassette"),
        ({"radius": ""}, "the radius of the cassettes is missing"),
        ({"wafer": "0 g"}, "wafers without mass"),
        ({"speed": "0 rpm"}, "range of its law"),
    ],
)
def test_loads_that_cannot_be_are_refused(typed: dict[str, str], said: str):
    assert said in refusal("load", LOAD | typed)


# -- drive


def test_the_ramp_of_the_demo_head():
    """The demo: 1.152 N m for 50 rpm/s alone, 218.0 W of drag, 71.55 s from 1750 to 40 rpm."""
    typed = without(CALCULATORS["drive"].example, "viscous")
    found = by_name(calculate("drive", typed))

    assert found["torque"].value - found["drag"].value == pytest.approx(1.152, abs=5e-4)
    assert found["power"].value == pytest.approx(218.0, abs=0.05)
    assert found["coast"].value == pytest.approx(71.55, abs=0.005)
    assert found["fits"].verdict is Verdict.PASS
    assert found["fastest"].value < found["ramp_time"].value


def test_a_motor_that_is_too_weak_never_arrives():
    typed = CALCULATORS["drive"].example | {"limit": "1 N.m"}
    found = by_name(calculate("drive", typed))

    assert found["fits"].verdict is Verdict.FAIL
    assert "never" in (found["fastest"].words or "")
