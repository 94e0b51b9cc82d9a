"""The strip of outcomes: one mark for each attempt, told by shape and letter."""

from collections import Counter
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from tests.dossier.handover_example import example

from spinproof.figures.marks import MARKS, VOID, mark_of, outcome_mark, verdict_mark
from spinproof.figures.outcome_strip import outcome_strip
from spinproof.model.judgement import Verdict
from spinproof.model.run import Outcome

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def strip():
    return outcome_strip(example().handover.attempts, simulated=True)


def words(svg):
    return [node.text for node in ET.fromstring(svg).iter(f"{SVG}text")]  # noqa: S314 - our own


def test_all_79_attempts_have_one_mark_each(strip):
    letters = Counter(text for text in words(strip) if text in {m.letter for m in MARKS})

    # the legend shows each of the five used marks once more
    assert letters == {"C": 55, "V": 23, "F": 2, "S": 2, "P": 2}


def test_campaigns_are_bounded_and_their_attempts_numbered(strip):
    shown = words(strip)

    assert {"Campaign 1", "attempts 1 to 23", "Campaign 2", "attempts 24 to 79"} <= set(shown)


def test_the_legend_names_the_outcomes_that_occur_and_no_others(strip):
    shown = words(strip)

    assert {"counted", "relevant failure", "invalid (outside cause)"} <= set(shown)
    assert "aborted" not in shown


def test_the_text_alternative_adds_up(strip):
    title = ET.fromstring(strip).findtext(f"{SVG}title")  # noqa: S314 - our own text

    assert title.startswith("79 attempts in order: 54 counted, 22 void")


def test_each_outcome_has_a_letter_and_a_shape_of_its_own():
    assert len({mark.letter for mark in MARKS}) == len(MARKS)
    assert len({(mark.corners, mark.turn, mark.dash) for mark in MARKS}) == len(MARKS)


def test_a_counted_run_of_a_closed_campaign_is_void_and_a_failure_stays_a_failure():
    assert mark_of(Outcome.COUNTED, void=True) is VOID
    assert mark_of(Outcome.RELEVANT_FAILURE, void=True).letter == "F"


def test_simulated_stands_in_the_strip_exactly_when_it_is_so(strip):
    assert "SIMULATED" in words(strip)
    assert "SIMULATED" not in outcome_strip(example().handover.attempts, simulated=False)


def test_a_campaign_of_one_attempt_and_one_of_a_hundred_are_drawn():
    attempt = example().handover.attempts[0]
    many = tuple(replace(attempt, number=i + 2, campaign=2) for i in range(100))

    shown = words(outcome_strip((attempt, *many), simulated=False))
    assert {"attempt 1", "attempts 2 to 101"} <= set(shown)


@pytest.mark.parametrize("verdict", Verdict)
def test_a_verdict_has_a_mark_with_its_word_as_alternative(verdict):
    assert f"<title>{verdict.value}</title>" in verdict_mark(verdict)


@pytest.mark.parametrize("outcome", Outcome)
def test_an_outcome_has_a_mark_with_its_word_as_alternative(outcome):
    assert f"<title>{outcome.value}</title>" in outcome_mark(outcome, void=False)
