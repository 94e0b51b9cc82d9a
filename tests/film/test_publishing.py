"""The film to publish: no frame lost, no pixel touched outside the strip, captions and chapters."""

import json
import subprocess

import av
import numpy as np
from tests.film.test_probe import a_film

from spinproof.film.captions import Caption, web_vtt
from spinproof.film.probe import probe
from spinproof.film.publishing import Card, Story, publish
from spinproof.film.strip import SHARE, Curve, Strip, draw_card


class Speaking:
    """Readings that say the film's time."""

    def at(self, film_s: float) -> tuple[str, str]:
        """Give two lines."""
        return f"run time {film_s:.1f} s", "450 rpm"


CURVE = Curve(np.linspace(0, 5, 20), np.linspace(0, 450, 20))
CAPTIONS = (Caption(0.5, 1.5, "Forty-five seconds at 450 rpm."), Caption(2.0, 3.0, "a < b & c"))


def lumas(path):
    with av.open(str(path)) as film:
        for frame in film.decode(video=0):
            yield frame.to_ndarray(format="gray")


def test_frames_out_are_frames_in_and_the_picture_above_the_strip_is_not_touched(tmp_path):
    source = a_film(tmp_path)
    facts = probe(source)
    lossless = {"preset": "ultrafast"}
    with_strip, without = tmp_path / "strip.mp4", tmp_path / "plain.mp4"

    done = publish(source, facts, with_strip, Story(readings=Speaking(), curve=CURVE), **lossless)
    publish(source, facts, without, Story(), **lossless)

    assert done.film == facts.frames == probe(with_strip).frames
    strip = facts.height // SHARE // 2 * 2
    for drawn, bare, first in zip(lumas(with_strip), lumas(without), lumas(source), strict=True):
        above = slice(0, facts.height - strip - 16)  # a macroblock beside the strip may blur
        away = np.abs(drawn[above].astype(int) - first[above]).mean()
        usual = np.abs(bare[above].astype(int) - first[above]).mean()
        assert away < 1.3 * usual + 0.5


def test_the_drawing_itself_leaves_every_pixel_above_the_strip(tmp_path):
    strip = Strip(320, 180, Speaking(), CURVE, 5.0)

    assert strip.at(1.0).shape == (30, 320)
    assert strip.at(1.02) is strip.at(1.05)
    assert not np.array_equal(strip.at(1.0), strip.at(4.0))


def test_ffprobe_reads_chapters_and_captions_after_the_opening_card(tmp_path):
    source, target = a_film(tmp_path), tmp_path / "out.mp4"
    story = Story(
        opening=Card("Head QM-207-L", ("Not in scope: the upper head.",)),
        closing=Card("How to check", ("Offline, with the package.",)),
        captions=CAPTIONS,
        chapters=((0.0, "before"), (2.0, "rinse")),
    )
    done = publish(source, probe(source), target, story, preset="ultrafast")
    said = json.loads(
        subprocess.run(
            ["ffprobe", "-v", "error", "-of", "json", "-show_chapters", "-show_streams", target],
            check=True,
            capture_output=True,
        ).stdout
    )

    assert [c["tags"]["title"] for c in said["chapters"]] == ["before", "rinse"]
    assert float(said["chapters"][1]["start_time"]) == 2.0 + done.shift_s
    assert "mov_text" in {s["codec_name"] for s in said["streams"]}
    assert probe(target).frames == done.film + done.cards


def test_captions_read_back_as_web_vtt(tmp_path):
    path = tmp_path / "film.vtt"
    path.write_text(web_vtt(CAPTIONS))
    with av.open(str(path)) as file:
        cues = [p for p in file.demux(subtitles=0) if p.size]

    assert [float(cue.pts * cue.time_base) for cue in cues] == [0.5, 2.0]
    assert "a &lt; b &amp; c" in path.read_text()


def test_a_card_holds_long_text_in_small_type():
    card = draw_card(320, 180, "Scope", ("not in scope: the window; " * 12,))

    assert card.shape == (180, 320)
    assert card[-4:].max() < 100
