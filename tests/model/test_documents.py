"""TOML files: what is accepted, and how what is wrong is said."""

import pytest
from tests.demo_files import DEMO_DATA

from spinproof.model.channel_map import ChannelMap
from spinproof.model.configuration import Configuration
from spinproof.model.documents import parse_document
from spinproof.model.errors import DocumentError
from spinproof.model.head import HeadSpec
from spinproof.model.job import JobFile
from spinproof.model.limit import LimitSet
from spinproof.model.load import Load, spread_slots
from spinproof.model.recipe import Recipe

RECIPE = (DEMO_DATA / "cr-1.recipe.toml").read_text()
CHANNELS = (DEMO_DATA / "lower.channels.toml").read_text()


def refusal(text: str, kind: type) -> DocumentError:
    with pytest.raises(DocumentError) as caught:
        parse_document(text, kind, "bench.toml")
    return caught.value


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("cr-1.recipe.toml", Recipe),
        ("lower.head.toml", HeadSpec),
        ("upper.head.toml", HeadSpec),
        ("lower.channels.toml", ChannelMap),
        ("upper.channels.toml", ChannelMap),
        ("run.limits.toml", LimitSet),
        ("partial.load.toml", Load),
        ("qa-1041.job.toml", JobFile),
        ("as-built.configuration.toml", Configuration),
        ("tach-corrected.configuration.toml", Configuration),
    ],
)
def test_the_demo_files_are_good_and_survive_a_round_trip(name: str, kind: type):
    noun = parse_document((DEMO_DATA / name).read_text(), kind, name)

    assert kind.from_document(noun.to_document()) == noun


def test_text_that_is_not_toml_names_its_line():
    error = refusal("name = yes", Recipe)

    assert error.what.startswith("the file is not TOML")
    assert "line 1" in error.what
    assert error.where == "bench.toml"


def test_a_wrong_type_names_line_key_value_and_what_would_be_right():
    error = refusal(RECIPE.replace("duration_s = 120.0", 'duration_s = "2 min"'), Recipe)

    assert "steps[3].duration_s is '2 min': it should be a valid number" in error.what
    assert error.where == "bench.toml, line 28"
    assert "spinproof schema recipe" in error.mend


def test_every_wrong_key_is_named():
    error = refusal(RECIPE.replace("speed_rpm = 1100.0", "speed = 1100"), Recipe)

    assert "steps[4].speed_rpm is missing" in error.what
    assert "steps[4].speed is not a known key" in error.what


def test_not_a_number_is_refused_though_toml_knows_it():
    assert "duration_s" in refusal(RECIPE.replace("45.0", "nan"), Recipe).what


def test_a_heated_step_without_nitrogen_is_refused_with_its_reason():
    text = RECIPE.replace("nitrogen = true\nheater_c", "heater_c")

    assert "an element without flow burns out" in refusal(text, Recipe).what


def test_a_channel_in_another_unit_than_its_role_is_refused():
    error = refusal(CHANNELS.replace('unit = "mm/s"', 'unit = "in/s"'), ChannelMap)

    assert 'unit "in/s" does not fit role vibration: it is read in "mm/s"' in error.what


def test_two_channels_with_one_role_are_refused():
    error = refusal(CHANNELS.replace('role = "n2-flow"', 'role = "di-flow"'), ChannelMap)

    assert "di-flow" in error.what


def test_many_problems_are_counted_not_poured_out():
    assert "more" in refusal("[x]\ny = 1", HeadSpec).what


@pytest.mark.parametrize("count", range(26))
def test_spread_slots_are_symmetric_about_the_middle(count: int):
    """A symmetric load puts no couple on the rotor: the slot numbers sum to 13 each."""
    slots = spread_slots(count, 25)

    assert len(set(slots)) == count
    assert sum(slots) == 13 * count


def test_thirteen_wafers_take_the_odd_slots():
    assert spread_slots(13, 25) == tuple(range(1, 26, 2))


def test_more_wafers_than_slots_are_refused():
    with pytest.raises(ValueError, match="26 wafers do not fit 25 slots"):
        spread_slots(26, 25)


def test_a_head_out_of_scope_needs_a_line_that_says_so():
    text = (DEMO_DATA / "qa-1041.job.toml").read_text()
    text = text[: text.rindex("[[scope]]")]

    assert "QM-207-U is out of scope and has no declined line" in refusal(text, JobFile).what


def test_accepted_work_on_a_head_out_of_scope_is_refused():
    text = (DEMO_DATA / "qa-1041.job.toml").read_text()
    head, _, tail = text.rpartition('state = "declined"')

    error = refusal(f'{head}state = "accepted"{tail}', JobFile)

    assert "accepted on QM-207-U, which is out of scope" in error.what
