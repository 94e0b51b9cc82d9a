"""Charts of fits, predictions and advice: what they show, and what they cannot lose."""

from xml.etree import ElementTree as ET

import pytest
from tests.demo_files import CR_1

from spinproof.figures.band_chart import band_chart
from spinproof.figures.front_chart import front_chart
from spinproof.figures.palette import BLUE
from spinproof.figures.residual_plot import residual_plot
from spinproof.model.head_model import CalibrationRun, Fit, Residuals
from spinproof.model.prediction import Advice, Band, Candidate, Estimate, Odds

SVG = "{http://www.w3.org/2000/svg}"


def fit(runs: int = 2, *, simulated: bool = False, left: tuple[float, ...] = (1.0, -2.0)) -> Fit:
    own = [CalibrationRun(run=f"R{i}", sha256="0" * 64, simulated=simulated) for i in range(runs)]
    return Fit(
        subject="coast-down",
        parameters=("x",),
        covariance=((1.0,),),
        degrees=runs - 1,
        runs=tuple(own),
        points=2 * runs,
        residual_rms=1.58,
        residual_unit="us",
        across="speed, rpm",
        residuals=tuple(
            Residuals(run=r.run, across=(100.0, 900.0)[: len(left)], left_over=left) for r in own
        ),
    )


def band(unit: str = "g", high: tuple[float, ...] = (8.0, 4.0, 2.0)) -> Band:
    return Band(
        label="water held up",
        unit=unit,
        time_s=(45.0, 200.0, 380.0),
        median=(4.0, 1.0, 0.0),
        low=(2.0, 0.0, 0.0),
        high=high,
    )


def advice(*, simulated: bool = False, costs: tuple[float, ...] = (0.3, 0.5)) -> Advice:
    front = tuple(
        Candidate(
            recipe=CR_1,
            best_at=("shortest",) if i == 0 else (),
            process_time_s=200.0 + 100 * i,
            dry=Odds(label="dry", probability=0.6 + 0.2 * i, numerical_uncertainty=0.01),
            residual_g=Estimate(label="left", unit="g", median=0.0, low=0.0, high=1.0),
            dry_time=Estimate(label="dry", unit="s", median=180.0, low=70.0, high=800.0),
            cost=Estimate(label="cost", unit="EUR", median=cost, low=cost, high=cost),
        )
        for i, cost in enumerate(costs)
    )
    return Advice(
        head="QM-207-L", wafers=13, tried=450, draws=100, seed=1, simulated=simulated,
        cost_unit="EUR", front=front, calibrate_first=(), cautions=(), software="spinproof",
    )  # fmt: skip


def test_each_residual_is_a_dot_in_the_colour_of_its_run():
    root = ET.fromstring(residual_plot(fit()))  # noqa: S314 - our own

    groups = [g for g in root.iter(f"{SVG}g") if g.get("fill")]
    assert [len(list(group)) for group in groups] == [2, 2]
    assert groups[0].get("fill") != groups[1].get("fill")
    assert "2 runs" in (root.findtext(f"{SVG}title") or "")


def test_more_runs_than_the_legend_holds_are_counted():
    assert "and 3 more" in residual_plot(fit(9))


@pytest.mark.parametrize("left", [(), (0.0, 0.0)])
def test_a_fit_that_leaves_nothing_is_drawn(left: tuple[float, ...]):
    assert "coast-down" in residual_plot(fit(left=left))


@pytest.mark.parametrize("unit", ["g", "um", "MOhm.cm"])
def test_a_band_lies_between_its_edges_around_its_median(unit: str):
    root = ET.fromstring(band_chart(band(unit), CR_1, simulated=False))  # noqa: S314 - our own

    paths = [p for p in root.iter(f"{SVG}path") if p.get("stroke") == BLUE]
    low, high, middle = (_heights(p.get("d", "")) for p in paths)
    assert all(a >= b >= c for a, b, c in zip(low, middle, high, strict=True))


def test_a_film_is_drawn_over_decades():
    text = band_chart(band("um", (300.0, 3.0, 0.1)), CR_1, simulated=False)

    for decade in ("0.01", "1", "100"):
        assert f">{decade}</text>" in text


def test_a_course_that_is_zero_throughout_is_drawn():
    nothing = band().model_copy(update=dict.fromkeys(("low", "median", "high"), (0.0,) * 3))

    assert "water held up" in band_chart(nothing, CR_1, simulated=False)


def test_the_front_numbers_its_recipes_and_names_the_best():
    text = front_chart(advice())

    assert ">1</text>" in text
    assert ">2</text>" in text
    assert ">shortest</text>" in text


def test_a_front_of_one_recipe_is_drawn():
    assert ">1</text>" in front_chart(advice(costs=(0.3,)))


def test_what_was_simulated_says_so_and_nothing_else_does():
    for simulated in (True, False):
        for text in (
            residual_plot(fit(simulated=simulated)),
            band_chart(band(), CR_1, simulated=simulated),
            front_chart(advice(simulated=simulated)),
        ):
            assert (">SIMULATED</text>" in text) == simulated


def test_the_same_values_give_the_same_bytes():
    assert residual_plot(fit()) == residual_plot(fit())
    assert front_chart(advice()) == front_chart(advice())


def _heights(path: str) -> list[float]:
    return [float(point.split()[1]) for point in path.lstrip("M").split("L")]
