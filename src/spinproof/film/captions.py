"""Captions: a track inside the film and a WebVTT file beside it."""

from collections.abc import Iterable
from dataclasses import dataclass

ASS_HEADER = (
    b"[Script Info]\r\nScriptType: v4.00+\r\n\r\n[V4+ Styles]\r\n"
    b"Format: Name, Fontname, Fontsize, PrimaryColour, SecondaryColour, OutlineColour, BackColour,"
    b" Bold, Italic, Underline, StrikeOut, ScaleX, ScaleY, Spacing, Angle, BorderStyle, Outline,"
    b" Shadow, Alignment, MarginL, MarginR, MarginV, Encoding\r\n"
    b"Style: Default,Sans,18,&Hffffff,&Hffffff,&H0,&H0,0,0,0,0,100,100,0,0,1,1,0,2,10,10,10,0\r\n"
    b"\r\n[Events]\r\nFormat: Layer, Start, End, Style, Name, MarginL, MarginR, MarginV, Effect,"
    b" Text\r\n"
)


@dataclass(frozen=True)
class Caption:
    """A sentence, and when it is shown."""

    start_s: float
    end_s: float
    text: str


def web_vtt(captions: Iterable[Caption]) -> str:
    """Write captions as a WebVTT file.

    Parameters
    ----------
    captions : iterable of Caption
        In the order of time.

    Returns
    -------
    str
        The file's text.

    References
    ----------
    .. [1] WebVTT: The Web Video Text Tracks Format, W3C Candidate Recommendation, 2019.
    """
    cues = [
        f"{number}\n{_clock(one.start_s)} --> {_clock(one.end_s)}\n{_escaped(one.text)}\n"
        for number, one in enumerate(captions, start=1)
    ]
    return "\n".join(["WEBVTT\n", *cues])


def _clock(seconds: float) -> str:
    thousandths = max(0, round(seconds * 1000))
    minutes, rest = divmod(thousandths, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours:02d}:{minutes:02d}:{rest // 1000:02d}.{rest % 1000:03d}"


def _escaped(text: str) -> str:
    plain = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return " ".join(plain.split())
