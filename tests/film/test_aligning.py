"""A film's clock against a trace, and a film against the wrong trace."""

from functools import cache

import numpy as np
import pytest
from tests.film.runs import filmed, logged

from spinproof.film.aligning import align, take_testimony
from spinproof.film.demo_film import Camera, film_run
from spinproof.film.watching import watch
from spinproof.model.film import Match, WitnessKind

CAMERA = Camera(lead_s=7.3, drift=4e-5, width=160, height=90)


@pytest.fixture(scope="module")
def film(tmp_path_factory):
    path = tmp_path_factory.mktemp("film") / "film.mp4"
    film_run(path, filmed(1), CAMERA, seed=7)
    return take_testimony(watch(path))


def test_three_witnesses_agree_within_what_they_state(film):
    found = align(film, logged(1))

    assert {w.kind for w in found.witnesses} == set(WitnessKind)
    assert found.agree
    for witness in found.witnesses:
        truth = CAMERA.lead_s + (1 + CAMERA.drift) * witness.run_s
        assert abs(witness.film_s - truth) < 3 * witness.standard_uncertainty_s
    truth = CAMERA.lead_s + (1 + CAMERA.drift) * found.middle_run_s
    assert abs(found.middle_film_s - truth) < 1.5 * found.expanded_uncertainty_s < 0.05


def test_the_right_run_is_accepted_and_its_speed_is_heard(film):
    found = align(film, logged(1), [logged(901)])

    assert found.match is Match.ACCEPTED
    assert found.log_likelihood > found.best_other + 6
    away = np.array(found.speed.heard_rpm) - np.array(found.speed.logged_rpm)
    assert np.median(np.abs(away)) < 3.0


def test_another_run_of_the_recipe_is_rejected(film):
    assert align(film, logged(501)).match is Match.REJECTED


def test_the_other_head_is_rejected(film):
    assert align(film, logged(1, upper=True)).match is Match.REJECTED


def test_without_sync_marks_a_run_is_not_told_from_others_of_its_recipe(film):
    found = align(film, logged(1, sync=False))

    assert found.match is Match.CANNOT_SAY
    assert "so it is for other runs" in found.words[0]


@cache
def silent_film(folder):
    path = folder / "silent.mp4"
    film_run(path, filmed(2), Camera(lead_s=5.0, width=160, height=90, has_sound=False), seed=2)
    return take_testimony(watch(path))


def test_a_film_without_sound_aligns_by_lamp_and_picture_and_proves_no_speed(tmp_path):
    found = align(silent_film(tmp_path), logged(2))

    assert found.match is Match.CANNOT_SAY
    assert abs(found.middle_film_s - 5.0 - found.middle_run_s) < found.expanded_uncertainty_s
    assert found.speed.heard_rpm == ()
