"""Sobol indices of the test function of Ishigami and Homma, whose indices have a closed form.

f = sin x1 + 7 sin² x2 + 0.1 x3⁴ sin x1, each x uniform on (-π, π). The variances of its parts are
V1 = (1 + b π⁴/5)²/2, V2 = a²/8, V13 = 8 b² π⁸/225; first-order indices 0.3139, 0.4424, 0.
"""

import numpy as np
import pytest
from SALib.analyze import sobol as salib_analysis
from SALib.sample import sobol as salib_sample

from spinproof.predict.influence import sobol_indices

pytestmark = pytest.mark.source(
    "Ishigami and Homma 1990: test function with analytic sensitivity indices", kind="published"
)

A, B = 7.0, 0.1
GROUPS = [("x1",), ("x2",), ("x3",)]
FIRST = {"x1": 0.3139, "x2": 0.4424, "x3": 0.0}
TOTAL = {"x1": 0.5576, "x2": 0.4424, "x3": 0.2437}


def ishigami(drawn):
    one, two, three = drawn["x1"], drawn["x2"], drawn["x3"]
    return np.sin(one) + A * np.sin(two) ** 2 + B * three**4 * np.sin(one)


def found(size: int = 40_000, seed: int = 3):
    rng = np.random.default_rng(seed)
    draws = [{f"x{i}": rng.uniform(-np.pi, np.pi, size) for i in (1, 2, 3)} for _ in range(2)]
    return {each.group[0]: each for each in sobol_indices(ishigami, *draws, GROUPS)}


def test_the_printed_indices_are_those_of_the_closed_form():
    one = (1 + B * np.pi**4 / 5) ** 2 / 2
    two, both = A * A / 8, 8 * B * B * np.pi**8 / 225
    all_of_it = one + two + both

    assert one / all_of_it == pytest.approx(FIRST["x1"], abs=5e-5)
    assert two / all_of_it == pytest.approx(FIRST["x2"], abs=5e-5)
    assert (one + both) / all_of_it == pytest.approx(TOTAL["x1"], abs=6e-5)
    assert both / all_of_it == pytest.approx(TOTAL["x3"], abs=6e-5)


def test_first_and_total_indices_come_out():
    for name, each in found().items():
        assert each.first == pytest.approx(FIRST[name], abs=0.03)
        assert each.total == pytest.approx(TOTAL[name], abs=0.02)


def test_the_stated_error_is_that_of_many_repetitions():
    repeated = [found(2000, seed)["x1"] for seed in range(60)]

    scatter = np.std([each.total for each in repeated], ddof=1)
    assert np.mean([each.error for each in repeated]) == pytest.approx(scatter, rel=0.3)


def test_a_general_library_finds_the_same():
    problem = {"num_vars": 3, "names": ["x1", "x2", "x3"], "bounds": [[-np.pi, np.pi]] * 3}
    points = salib_sample.sample(problem, 8192, calc_second_order=False, seed=1)
    answers = ishigami({f"x{i + 1}": points[:, i] for i in range(3)})
    theirs = salib_analysis.analyze(problem, answers, calc_second_order=False, seed=1)

    ours = found()
    for i, name in enumerate(problem["names"]):
        assert ours[name].first == pytest.approx(theirs["S1"][i], abs=0.03)
        assert ours[name].total == pytest.approx(theirs["ST"][i], abs=0.02)
