"""The figures of a run: every panel has its unit, every event its name, and SIMULATED stays."""

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from tests.dossier.handover_example import example

from spinproof.figures.panel import panels_of
from spinproof.figures.run_figure import run_figure
from spinproof.figures.run_strip import run_strip
from spinproof.figures.setpoint import setpoint_series
from spinproof.figures.units import printed_unit
from spinproof.model.handover import Series
from spinproof.model.judgement import Event, Segment
from spinproof.model.recipe import StepKind

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def witness():
    return example().handover.witness


def full(record, *, simulated=True, **changes):
    arguments = {
        "recipe": record.recipe,
        "segments": record.judgement.segments,
        "events": record.judgement.events,
        "title": "a run",
        "alt": "what it shows",
        "simulated": simulated,
    } | changes
    return run_figure(record.series, **arguments)


def strip(record, **changes):
    arguments = {
        "segments": record.judgement.segments,
        "events": record.judgement.events,
        "duration_s": 460.0,
        "top_speed_rpm": 1750.0,
        "alt": "what it shows",
        "simulated": True,
    } | changes
    return run_strip(record.series, **arguments)


def texts(svg):
    return [node.text for node in ET.fromstring(svg).iter(f"{SVG}text")]  # noqa: S314 - our own


def test_every_quantity_has_a_panel_with_its_unit(witness):
    shown = texts(full(witness))

    for series in witness.series:
        assert any(f"[{printed_unit(series.unit)}]" in text for text in shown), series.unit
    assert "time [s]" in shown


def test_series_of_one_unit_share_a_panel_and_are_told_apart_by_name_and_dash(witness):
    speeds = next(p for p in panels_of(witness.series) if p.unit == "rpm")
    svg = full(witness)

    assert [s.name for s in speeds.series] == ["optical tach", "head tach"]
    assert {"optical tach", "head tach", "set-point", "drain", "feed"} <= set(texts(svg))
    assert len(set(re.findall(r'stroke-dasharray="[^"]+"', svg))) >= 2


def test_every_event_is_named_with_its_moment(witness):
    shown = texts(full(witness))

    for event in witness.judgement.events:
        assert f"{event.name} {event.time_s:.1f} s" in shown


def test_the_start_of_a_step_shows_as_its_band_and_not_again_as_an_event(witness):
    events = (*witness.judgement.events, Event(name="step 3 entered", time_s=60.0))

    assert not any("step 3 entered" in text for text in texts(full(witness, events=events)))


def test_labels_of_events_that_come_together_stand_in_rows_of_their_own(witness):
    together = tuple(Event(name=f"event {i}", time_s=440.0 + i / 10) for i in range(5))
    figure = ET.fromstring(full(witness, events=together))  # noqa: S314 - our own text
    heights = [n.get("y") for n in figure.iter(f"{SVG}text") if (n.text or "").startswith("event")]

    assert len(set(heights)) == 5


@pytest.mark.parametrize("draw", [full, strip])
def test_simulated_stands_in_the_figure_exactly_when_it_is_so(witness, draw):
    assert "SIMULATED" in texts(draw(witness, simulated=True))
    assert "SIMULATED" not in draw(witness, simulated=False)


@pytest.mark.parametrize("draw", [full, strip])
def test_the_same_run_gives_the_same_bytes(witness, draw):
    assert draw(witness) == draw(replace(witness))


@pytest.mark.parametrize("draw", [full, strip])
def test_a_run_without_steps_events_and_readings_is_still_drawn(witness, draw):
    bare = replace(witness, series=())

    assert draw(bare, segments=(), events=()).startswith("<svg")


def test_a_strip_shows_the_stop_sequence_as_letters_in_their_order(witness):
    letters = [text for text in texts(strip(witness)) if text in {"S", "I", "V", "R"}]

    assert letters == ["S", "I", "V", "R"]


def test_the_order_of_letters_shows_a_door_released_too_early(witness):
    moments = {"stop command": 380.0, "door released": 430.0, "index proven": 437.0}
    events = tuple(Event(name=name, time_s=at) for name, at in moments.items())
    letters = [text for text in texts(strip(witness, events=events)) if text in {"S", "I", "R"}]

    assert letters == ["S", "R", "I"]


def test_runs_on_one_scale_are_drawn_to_one_scale():
    short, long = (Series("speed", "rpm", (0.0, end), (1000.0, 1000.0)) for end in (100.0, 200.0))
    ends = []
    for series in (short, long):
        svg = run_strip(
            (series,),
            segments=(),
            events=(),
            duration_s=200.0,
            top_speed_rpm=2000.0,
            alt="x",
            simulated=False,
        )
        ends.append(float(re.search(r'd="M34 \S+L(\S+) ', svg)[1]))

    assert (ends[1] - 34) == pytest.approx(2 * (ends[0] - 34))


def test_the_set_point_follows_the_ramps_of_the_recipe(witness):
    found = setpoint_series(witness.recipe, witness.judgement.segments)

    assert dict(zip(found.time_s, found.values, strict=True)) == {
        0.0: 0.0,
        9.0: 450.0,
        45.0: 450.0,
        60.0: 450.0,
        86.0: 1750.0,
        180.0: 1750.0,
        193.0: 1100.0,
        380.0: 1100.0,
    }


def test_a_step_cut_short_in_its_ramp_ends_the_set_point_on_the_ramp(witness):
    segments = (Segment(step=1, name="rinse", kind=StepKind.RINSE, start_s=0.0, end_s=4.0),)
    found = setpoint_series(witness.recipe, segments)

    assert (found.time_s[-1], found.values[-1]) == (4.0, 200.0)
