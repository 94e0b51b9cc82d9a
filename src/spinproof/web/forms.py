"""Forms that write: one token, one effect, and what was typed is never lost.

A page shows a form with ``blank``; a route takes it as ``Posted`` and ends with ``carry_out``::

    class NewPerson(Typed):
        name: Line
        role: Role

    @router.post("/people")
    def add(posted: Posted, desk: Desk, me: Me) -> Response:
        def act() -> str:
            typed = posted.read(NewPerson)
            desk.add_person(typed.name, typed.role, me.name, utc_now())
            return "/people"

        return posted.carry_out(act, again=lambda form: page(form))

What ``act`` raises comes back to the page, with all that was typed: beside its field when `read`,
`at_field` or a `FieldError` names one, else above the form. The same form sent twice runs ``act``
once and leads to the same page. In the template::

    {% import "forms.html" as forms %}
    {% call forms.form(form) %}
    {{ forms.line(form, "name", "Name or role code") }}
    {{ forms.choice(form, "role", "Role", roles) }}
    {{ forms.send("Add") }}
    {% endcall %}
"""

import hmac
import re
import secrets
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, TypeVar
from urllib.parse import quote

from fastapi import Depends, Request
from pydantic import BaseModel, ConfigDict, StringConstraints, ValidationError
from pydantic_core import ErrorDetails
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, RedirectResponse, Response

from spinproof.app.clock import utc_now
from spinproof.app.sending import Sending
from spinproof.model.errors import AccessError, DocumentError, SpinproofError
from spinproof.web.faults import Fault, fault_of
from spinproof.web.visitor import Visitor, current

TOKEN, KEY = "form-token", "form-key"
MOST_FIELDS = 400
MOST_FILES = 20
LONGEST_FIELD = 64 * 1024

Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
"""A line of text that must be there."""
Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=4000)]
"""Lines of text that may be missing."""


class Typed(BaseModel):
    """The fields of a form; a field that the form does not have is refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


T = TypeVar("T", bound=Typed)


class FieldError(DocumentError):
    """What was typed cannot be taken; each field has its own sentence."""

    def __init__(self, fields: Mapping[str, str]) -> None:
        super().__init__(
            f"{len(fields)} field{'s' * (len(fields) > 1)} cannot be taken as typed",
            where="the form",
            mend="Look at what stands beside each of them.",
        )
        self.fields = dict(fields)


@contextmanager
def at_field(name: str, *kinds: type[SpinproofError]) -> Iterator[None]:
    """Show errors of these kinds beside a field.

    Parameters
    ----------
    name : str
        The field.
    *kinds : type of SpinproofError
        What belongs there; other errors pass.

    Yields
    ------
    None
        While the work is done.

    Raises
    ------
    FieldError
        In place of an error of these kinds.
    """
    try:
        yield
    except FieldError:
        raise
    except kinds as error:
        raise FieldError({name: said(error)}) from error


def said(error: SpinproofError) -> str:
    """Write an error as it stands beside a field."""
    return f"{error.what[:1].upper()}{error.what[1:]}. {error.mend}"


@dataclass(frozen=True)
class Form:
    """What the template of a form shows."""

    action: str
    token: str
    key: str
    values: Mapping[str, str] = field(default_factory=dict)
    """What stands in the fields."""
    errors: Mapping[str, str] = field(default_factory=dict)
    """What is wrong with a field, by its name."""
    problem: Fault | None = None
    """What is wrong with all of it."""


def blank(visitor: Visitor, action: str, **values: str) -> Form:
    """Give a form to fill in.

    Parameters
    ----------
    visitor : Visitor
        Who will send it.
    action : str
        Where it is sent to.
    **values : str
        What stands in it already.

    Returns
    -------
    Form
        The form, with a key of its own.
    """
    return Form(action, visitor.form_token, secrets.token_urlsafe(16), values)


@dataclass(frozen=True)
class PostedForm:
    """A form that was sent by the page it belongs to."""

    action: str
    key: str
    values: Mapping[str, str]
    """The fields; of several with one name the last."""
    lists: Mapping[str, tuple[str, ...]]
    """All values of each field."""
    files: Mapping[str, UploadFile]
    """Files that were chosen."""
    visitor: Visitor
    sending: Sending
    root: Path
    wants_json: bool

    def read(self, kind: type[T]) -> T:
        """Give the fields as they are meant.

        Raises
        ------
        FieldError
            If a field is missing, too much, or cannot be taken.
        """
        try:
            return kind.model_validate(self.values)
        except ValidationError as error:
            details = error.errors(include_url=False, include_input=False)
            raise FieldError({_place(found): sentence(found) for found in details}) from None

    def carry_out(self, act: Callable[[], str], again: Callable[[Form], Response]) -> Response:
        """Do what the form asks, once.

        Parameters
        ----------
        act : callable
            Does it and gives the page that shows the effect.
        again : callable
            Shows the form again when it could not be done.

        Returns
        -------
        Response
            A redirection, or the form with what is wrong.
        """
        return self.answer(lambda: self._lead(self._once(act)), again)

    def answer(self, act: Callable[[], Response], again: Callable[[Form], Response]) -> Response:
        """Answer with what ``act`` gives, each time that the form is sent."""
        try:
            return act()
        except SpinproofError as error:
            fields = error.fields if isinstance(error, FieldError) else {}
            return self._refuse(fault_of(error, self.root), fields, again)

    def _once(self, act: Callable[[], str]) -> str:
        return self.sending.once(self.key, self.action, self.visitor.name, utc_now(), act)

    def _lead(self, location: str) -> Response:
        if self.wants_json:
            return JSONResponse({"location": location})
        return RedirectResponse(location, status_code=303)

    def _refuse(
        self, fault: Fault, fields: Mapping[str, str], again: Callable[[Form], Response]
    ) -> Response:
        if self.wants_json:
            return JSONResponse(fault.document() | {"fields": fields}, status_code=fault.status)
        form = blank(self.visitor, self.action, **self._shown())
        answer = again(replace(form, errors=fields, problem=None if fields else fault))
        answer.status_code = fault.status
        return answer

    def _shown(self) -> dict[str, str]:
        return {name: text for name, text in self.values.items() if not is_secret(name)}


def is_secret(name: str) -> bool:
    """Tell whether a field is never sent back to the page."""
    return any(word in name for word in ("password", "pin", "proof", "code"))


def _place(found: ErrorDetails) -> str:
    return str(found["loc"][0]) if found["loc"] else "the form"


def sentence(found: ErrorDetails) -> str:
    """Say what is wrong with a field."""
    context = found.get("ctx", {})
    error = context.get("error")
    if isinstance(error, SpinproofError):
        return said(error)
    options = ", ".join(re.findall("'([^']*)'", str(context.get("expected"))))
    sentences = {
        "missing": "Fill this in.",
        "string_too_short": "Fill this in.",
        "string_too_long": f"At most {context.get('max_length')} characters.",
        "extra_forbidden": "The form has no such field.",
        "enum": f"Choose one of: {options}.",
        "literal_error": f"Choose one of: {options}.",
        "int_parsing": "Write a whole number.",
        "float_parsing": "Write a number.",
        "finite_number": "Write a number.",
        "date_from_datetime_parsing": "Write a date as 2031-05-06.",
        "greater_than_equal": f"At least {context.get('ge')}.",
        "less_than_equal": f"At most {context.get('le')}.",
        "greater_than": f"More than {context.get('gt')}.",
        "less_than": f"Less than {context.get('lt')}.",
    }
    return sentences.get(found["type"], f"{found['msg']}.")


async def posted(request: Request) -> PostedForm:
    """Take the form that was sent, when it comes from the visitor's own page.

    Raises
    ------
    AccessError
        If it carries no token, or another visitor's.
    DocumentError
        If a field is too long, or the form is damaged.
    HTTPException
        If the body is no form.
    """
    visitor = current.get()
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if visitor is None or kind not in {
        "application/x-www-form-urlencoded",
        "multipart/form-data",
    }:
        raise HTTPException(415)
    texts, files = await _fields(request)
    token = texts.pop(TOKEN, ("",))[-1]
    if not hmac.compare_digest(token.encode(), visitor.form_token.encode()):
        raise AccessError(
            "the form was made for another visit",
            where=request.url.path,
            mend="Go back (what you typed still stands there), open the page in a second tab, sign "
            "in there when asked, then send the form from a fresh page.",
        )
    key = texts.pop(KEY, ("",))[-1]
    return PostedForm(
        action=quote(request.url.path),
        key=key,
        values={name: values[-1] for name, values in texts.items()},
        lists=texts,
        files=files,
        visitor=visitor,
        sending=request.app.state.sending,
        root=request.app.state.browser.home.root,
        wants_json="application/json" in request.headers.get("accept", ""),
    )


async def _fields(request: Request) -> tuple[dict[str, tuple[str, ...]], dict[str, UploadFile]]:
    try:
        data = await request.form(
            max_files=MOST_FILES, max_fields=MOST_FIELDS, max_part_size=LONGEST_FIELD
        )
    except HTTPException as error:
        if error.status_code == 413:
            raise
        raise DocumentError(
            "a field is too long, or the form is damaged",
            where=request.url.path,
            mend=f"Keep each field below {LONGEST_FIELD // 1024} kB and send the form again.",
        ) from error
    texts: dict[str, tuple[str, ...]] = {}
    files = {}
    for name, value in data.multi_items():
        if isinstance(value, str):
            texts[name] = (*texts.get(name, ()), value)
        elif value.filename:
            files[name] = value
    return texts, files


Posted = Annotated[PostedForm, Depends(posted)]
"""What a route that writes asks for."""
