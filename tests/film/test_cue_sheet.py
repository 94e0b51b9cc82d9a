"""The cue sheet: moments, sentences and what is never said."""

import pytest
from tests.demo_files import CR_1, LOWER, PARTIAL_LOAD

from spinproof.app.film import cue_sheet
from spinproof.film.cue_sheet import WORDS_PER_MINUTE, speaking_time


def sheet():
    return cue_sheet(CR_1, LOWER, PARTIAL_LOAD, ("the upper head", "the window"))


def moments():
    return {cue.event: cue.run_s for cue in sheet().cues}


def test_steps_and_coast_stand_at_their_moments():
    at = moments()

    assert at["at 450 rpm"] == pytest.approx(9.0)  # 450 rpm at 50 rpm/s
    assert at["drive off"] == pytest.approx(380.0)
    assert at["below 40 rpm"] == pytest.approx(380.0 + 54.8, abs=0.1)


def test_exclusions_are_said_first_and_there_is_time_to_say_them():
    first, second = sheet().cues[:2]

    assert "the upper head; the window" in first.say
    assert first.run_s + first.say_s < second.run_s


def test_a_sentence_takes_as_long_as_its_words():
    assert speaking_time("one two three") == pytest.approx(180 / WORDS_PER_MINUTE)


def test_no_sentence_uses_a_word_that_is_never_said():
    said = " ".join(cue.say.lower() for cue in sheet().cues)

    for word in ("perfect", "as new", "guaranteed", "certified", "safe to open"):
        assert word not in said
