"""Uncut films and cut ones."""

import pytest
from tests.film.test_probe import still

from spinproof.film.cuts import find_cuts
from spinproof.film.demo_film import Camera, film_run
from spinproof.film.watching import watch


def taken(folder, **camera):
    path = folder / "film.mp4"
    film_run(path, still(12.0), Camera(lead_s=1.0, tail_s=1.0, **camera), seed=4)
    return find_cuts(watch(path))


@pytest.mark.parametrize("variable", [False, True])
def test_one_take_is_called_one_take(tmp_path, variable):
    take = taken(tmp_path, is_rate_variable=variable)

    assert take.is_uncut
    assert take.cuts == ()


def test_dropped_time_stamps_are_shown_where_they_are(tmp_path):
    watched_path = tmp_path / "film.mp4"
    film_run(watched_path, still(12.0), Camera(lead_s=1.0, tail_s=1.0), seed=4)
    whole = watch(watched_path)
    keep = (whole.frame_s < 6.0) | (whole.frame_s > 8.0)
    torn = type(whole)(
        whole.frame_s[keep],
        whole.small[keep],
        whole.sound_start_s,
        whole.low,
        whole.level,
        whole.tone,
        (),
        "",
    )

    take = find_cuts(torn)

    assert not take.is_uncut
    assert [round(cut.film_s) for cut in take.cuts] == [8]
