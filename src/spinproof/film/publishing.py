"""The film to publish: cards, strip, captions and chapters, encoded anew; memory stays flat."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import cast

import av
import numpy as np
from av.audio.stream import AudioStream
from av.container import OutputContainer
from av.error import FFmpegError
from av.filter import Graph
from av.packet import Packet
from av.stream import Stream
from av.subtitles.stream import SubtitleStream
from av.subtitles.subtitle import SubtitleSet
from av.video.frame import VideoFrame
from av.video.stream import VideoStream
from numpy.typing import NDArray

from spinproof.film.captions import ASS_HEADER, Caption
from spinproof.film.opening import open_film
from spinproof.film.strip import Curve, Readings, Strip, draw_card
from spinproof.model.errors import EvidenceError
from spinproof.model.film import FilmFacts

CARD_S = 5.0
TICKS = 90_000
MILLI = Fraction(1, 1000)
_TURNS = {90: "cclock", 270: "clock"}


@dataclass(frozen=True)
class Card:
    """An opening or end card."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Story:
    """What is put around and into a film; all moments are the film's own."""

    opening: Card | None = None
    closing: Card | None = None
    readings: Readings | None = None
    curve: Curve | None = None
    captions: tuple[Caption, ...] = ()
    chapters: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True)
class FramesOut:
    """How many frames went where."""

    film: int
    cards: int
    shift_s: float
    """By how much the film's moments come later in what is published. [s]"""


def publish(
    source: Path,
    facts: FilmFacts,
    target: Path,
    story: Story,
    *,
    preset: str = "veryfast",
    on_progress: Callable[[float], None] | None = None,
) -> FramesOut:
    """Encode a film anew with its cards, strip, captions and chapters.

    Parameters
    ----------
    source : Path
        The film as it was taken in.
    facts : FilmFacts
        Its facts, from `probe`.
    target : Path
        An MP4; overwritten.
    story : Story
        What is put around and into it.
    preset : str
        Of the encoder.
    on_progress : callable, optional
        Is called with the film time reached, in seconds, every 10 s of film.

    Returns
    -------
    FramesOut
        One frame for each of the film, and those of the cards.

    Raises
    ------
    EvidenceError
        If the film breaks off while it is read, or its sound cannot lie in an MP4.
    """
    options = {"fflags": "+bitexact", "movflags": "+faststart"}
    try:
        with (
            open_film(source) as film,
            av.open(str(target), "w", format="mp4", options=options) as out,
        ):
            sounds = film.streams.audio[:1]
            writer = _Writer(out, facts, story, sounds, preset)
            writer.card(story.opening)
            for packet in film.demux([film.streams.video[0], *sounds]):
                if isinstance(packet.stream, AudioStream):
                    writer.sound(packet)
                    continue
                for frame in packet.decode():
                    writer.frame(cast("VideoFrame", frame), on_progress)
            writer.finish()
    except FFmpegError as error:
        target.unlink(missing_ok=True)
        raise EvidenceError(
            f"the film cannot be encoded anew ({str(error.strerror or error).lower()})",
            where=source.name,
            mend="Look at it with `spinproof film look`; nothing was published.",
        ) from error
    return FramesOut(writer.film_frames, writer.card_frames, writer.shift_s)


class _Writer:
    """Writes one published film."""

    def __init__(
        self,
        out: OutputContainer,
        facts: FilmFacts,
        story: Story,
        sounds: "tuple[AudioStream, ...] | list[AudioStream]",
        preset: str,
    ) -> None:
        self._out, self._facts, self._story = out, facts, story
        upright = facts.rotation in _TURNS
        self._size = (facts.height, facts.width) if upright else (facts.width, facts.height)
        self._size = (self._size[0] // 2 * 2, self._size[1] // 2 * 2)
        self.shift_s = CARD_S if story.opening else 0.0
        self._video = self._add_video(preset)
        self._sound = out.add_stream_from_template(sounds[0]) if sounds else None
        self._captions = self._add_captions() if story.captions else None
        if story.chapters:
            out.set_chapters(self._chapters())
        self._strip = self._make_strip()
        self._graph: Graph | None = None
        self._first: float | None = None
        self._last_s = self._told = 0.0
        self.film_frames = self.card_frames = 0
        self._said = 0

    def _add_video(self, preset: str) -> VideoStream:
        rate = Fraction(self._facts.rate_hz or 30.0).limit_denominator(1001)
        video = self._out.add_stream("libx264", rate=rate)
        video.width, video.height = self._size
        video.pix_fmt, video.options = "yuv420p", {"preset": preset, "crf": "23"}
        video.codec_context.time_base = video.time_base = Fraction(1, TICKS)
        return video

    def _add_captions(self) -> SubtitleStream:
        captions = self._out.add_stream("mov_text")
        assert isinstance(captions, SubtitleStream)  # noqa: S101 - narrows the type of a library
        captions.codec_context.subtitle_header = ASS_HEADER
        captions.codec_context.time_base = captions.time_base = MILLI
        return captions

    def _chapters(self) -> list["av.container.Chapter"]:
        starts = [round(1000 * (s + self.shift_s)) for s, _ in self._story.chapters]
        end = round(1000 * (self._facts.duration_s + self.shift_s))
        ends = [*starts[1:], max(end, starts[-1] + 1)]
        return [
            {"id": k, "start": a, "end": b, "time_base": MILLI, "metadata": {"title": title}}
            for k, (a, b, (_, title)) in enumerate(
                zip(starts, ends, self._story.chapters, strict=True)
            )
        ]

    def _make_strip(self) -> Strip | None:
        if self._story.readings is None:
            return None
        curve = self._story.curve or Curve(np.zeros(0), np.zeros(0))
        return Strip(*self._size, self._story.readings, curve, self._facts.duration_s)

    def card(self, card: Card | None) -> None:
        """Show a card for some seconds."""
        if card is None:
            return
        begin = 0.0 if self.film_frames == 0 else self._last_s + self.shift_s
        interval = 1 / (self._facts.rate_hz or 30.0)
        begin += interval if self.film_frames else 0.0
        frame = _grey_frame(draw_card(*self._size, card.title, card.lines))
        for k in range(int(CARD_S / interval)):
            self._encode(frame, begin + k * interval)
            self.card_frames += 1

    def frame(self, frame: VideoFrame, on_progress: Callable[[float], None] | None) -> None:
        """Write one frame of the film, with its strip."""
        at = float(frame.time or 0.0)
        for seen in self._upright(frame):
            if self._strip is not None:
                self._draw(seen, at)
            self._encode(seen, at + self.shift_s)
            self.film_frames += 1
        self._last_s = max(self._last_s, at)
        if on_progress and at >= self._told + 10:
            self._told = at
            on_progress(at)
        self._say_until(at)

    def _upright(self, frame: VideoFrame) -> Iterator[VideoFrame]:
        """Turn a frame as a player would, so that the strip lies below the picture."""
        if frame.format.name not in {"yuv420p", "yuvj420p"} or (
            self._facts.rotation % 180 == 0 and (frame.width, frame.height) != self._size
        ):
            frame = frame.reformat(format="yuv420p")
        if self._facts.rotation == 0:
            yield frame
            return
        if self._graph is None:
            self._graph = _turning_graph(frame, self._facts.rotation)
        self._graph.vpush(frame)
        yield self._graph.vpull()

    def _draw(self, frame: VideoFrame, at: float) -> None:
        assert self._strip is not None  # noqa: S101 - the caller asked
        frame.make_writable()
        plane = frame.planes[0]
        luma = np.frombuffer(memoryview(plane), np.uint8).reshape(plane.height, plane.line_size)
        strip = self._strip.at(at)
        luma[plane.height - strip.shape[0] :, : plane.width] = strip[:, : plane.width]
        for colour in frame.planes[1:]:
            chroma = np.frombuffer(memoryview(colour), np.uint8)
            rows = strip.shape[0] // 2
            chroma.reshape(colour.height, colour.line_size)[colour.height - rows :] = 128

    def _encode(self, frame: VideoFrame, at: float) -> None:
        frame.pts, frame.time_base = round(at * TICKS), Fraction(1, TICKS)
        frame.pict_type = 0
        self._out.mux(self._video.encode(frame))

    def sound(self, packet: "Packet[Stream]") -> None:
        """Copy a packet of sound as it is, later by the opening card."""
        if not packet.size or self._sound is None or packet.time_base is None:
            return
        late = round(self.shift_s / packet.time_base)
        if packet.pts is not None:
            packet.pts += late
        if packet.dts is not None:
            packet.dts += late
        packet.stream = self._sound
        self._out.mux(packet)

    def _say_until(self, at: float) -> None:
        captions = self._story.captions
        while self._captions and self._said < len(captions) and captions[self._said].start_s <= at:
            one = captions[self._said]
            start = round(1000 * (one.start_s + self.shift_s))
            length = max(1, round(1000 * (one.end_s - one.start_s)))
            text = " ".join(one.text.split())
            said = SubtitleSet.create(
                f"{self._said},0,Default,,0,0,0,,{text}".encode(), start=0, end=length, pts=start
            )
            packet = self._captions.codec_context.encode_subtitle(said)
            packet.stream, packet.time_base = self._captions, MILLI
            packet.pts = packet.dts = start
            packet.duration = length
            self._out.mux(packet)
            self._said += 1

    def finish(self) -> None:
        """Write the end card and what the encoder still holds."""
        self.card(self._story.closing)
        self._out.mux(self._video.encode(None))


def _grey_frame(luma: NDArray[np.uint8]) -> VideoFrame:
    height, width = luma.shape
    planes = np.full((height * 3 // 2, width), 128, np.uint8)
    planes[:height] = luma
    return VideoFrame.from_ndarray(planes, format="yuv420p")


def _turning_graph(frame: VideoFrame, rotation: int) -> Graph:
    graph = Graph()
    source = graph.add_buffer(
        width=frame.width, height=frame.height, format=frame.format, time_base=Fraction(1, TICKS)
    )
    if rotation in _TURNS:
        turns = [graph.add("transpose", _TURNS[rotation])]
    else:
        turns = [graph.add("hflip"), graph.add("vflip")]
    chain = [source, *turns, graph.add("buffersink")]
    for one, following in pairwise(chain):
        one.link_to(following)
    graph.configure()
    return graph
