"""What the forms of parts, findings and scope share: fields of a deed, and who may send them."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Annotated

from fastapi import Depends
from markupsafe import Markup
from starlette.responses import Response

from spinproof.app.part_deeds import Act, NewPart, PartDesk
from spinproof.figures.head_drawing import severity_mark
from spinproof.model.access import Action, Thing
from spinproof.model.part import Provenance, Severity
from spinproof.web.forms import FieldError, Form, Line, Text, Typed, blank
from spinproof.web.shop import Shop
from spinproof.web.visitor import Visitor

AS_BEFORE = "as before"
MARKS = {severity.value: Markup(severity_mark(severity)) for severity in Severity}  # noqa: S704 - our own drawing
"""Marks of the severities, for the templates."""
CAMERA = "camera=(self), microphone=(), geolocation=()"
"""What a page may use that reads tags with the device's camera."""


class TypedDeed(Typed):
    """Why, on what evidence, and when."""

    why: Line
    evidence: Text = ""
    done: Text = ""

    def act(self, me: Visitor) -> Act:
        """Give it as the act of a visitor.

        Raises
        ------
        FieldError
            If the time is none.
        """
        return Act(me.name, self.why, self.evidence, moment_of(self.done))


class TypedPart(TypedDeed):
    """A part as it is first seen."""

    tag: Line
    words: Line
    serial: Text = ""
    lot: Text = ""
    material: Text = ""

    def part(self) -> NewPart:
        """Give the part."""
        return NewPart(
            self.tag, self.words, self.serial or None, self.lot or None, self.material or None
        )


def moment_of(text: str) -> datetime | None:
    """Read a time in UTC as a browser's field gives it; nothing means now.

    Raises
    ------
    FieldError
        If it is no time.
    """
    if not text:
        return None
    try:
        return datetime.fromisoformat(text).replace(tzinfo=UTC)
    except ValueError:
        raise FieldError({"done": "Write it as 2031-05-06 07:08, in UTC."}) from None


def claimed(text: str) -> Provenance | None:
    """Read what may be claimed of a part; None leaves it as before.

    Raises
    ------
    FieldError
        If it is no provenance.
    """
    if text == AS_BEFORE:
        return None
    try:
        return Provenance(text)
    except ValueError:
        raise FieldError({"provenance": f"Choose one of: {', '.join(Provenance)}."}) from None


def forms_of(me: Visitor, sent: Form | None) -> Callable[..., Form]:
    """Give what a template asks for the form of an action: the one sent, or a blank one."""

    def form(action: str, **values: str) -> Form:
        return sent if sent and sent.action == action else blank(me, action, **values)

    return form


def may_write(me: Visitor, thing: Thing = Thing.FINDINGS) -> bool:
    """Tell whether a visitor may change a thing."""
    return me.may(Action.WRITE, thing).allowed


def with_camera(response: Response) -> Response:
    """Let a page read tags with the camera of the device."""
    response.headers["Permissions-Policy"] = CAMERA
    return response


def part_desk(shop: Shop) -> PartDesk:
    """Give what records deeds."""
    return PartDesk(shop.ledger)


Parts = Annotated[PartDesk, Depends(part_desk)]
"""What a route asks for deeds."""
