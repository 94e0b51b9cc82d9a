"""Parameters of a virtual head come back inside their stated 95 % intervals."""

import pytest
from tests.predict.trials import TRIALS, coverage


@pytest.mark.parametrize("subject", TRIALS)
def test_the_truth_lies_inside_the_stated_interval_in_at_least_90_of_100_trials(subject: str):
    hits, said = coverage(subject, 100)

    assert said == 100
    assert min(hits.values()) >= 90, hits
