"""What was written down, in plain words; and finding things by a word or a tag."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from spinproof.ledger.entries import AuditEntry
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.searching import Hit as Hit
from spinproof.ledger.searching import search, trail_rows
from spinproof.ledger.shop_entries import entered_later
from spinproof.model.errors import RecordError, TagError
from spinproof.model.matter import MatterKind
from spinproof.model.tag import parse_tag, slips

PAGE = 100
"""Rows of the trail on a page."""
LONGEST = 240
"""Characters of a value that are shown; what is longer is cut."""

ACTS = {
    "job.add": "job taken in",
    "machine.add": "machine recorded",
    "unit.add": "head, module or part recorded",
    "terms.set": "terms of the job set",
    "scope.add": "line added to the scope",
    "scope.change": "line of the scope changed",
    "scope.step": "step of a line of the scope",
    "document.keep": "document kept",
    "configuration.set": "configuration of the head recorded",
    "campaign.open": "campaign opened",
    "campaign.close": "campaign closed",
    "run.start": "run started",
    "run.finish": "run ended",
    "run.judge": "run judged",
    "run.classify": "run classified",
    "evidence.add": "evidence taken in",
    "part.add": "part recorded",
    "part.step": "step of the part",
    "position.leave-empty": "position left empty",
    "head.change": "change of the head",
    "matter.open": "opened",
    "matter.step": "step taken",
    "fact.state": "fact stated",
    "instrument.add": "instrument recorded",
    "instrument.event": "calibration or check of the instrument",
    "check.measure": "reading written down",
    "check.finish": "check called finished",
    "gate.sign": "gate signed",
    "calculation.keep": "calculation kept",
    "anchor.note": "head of the trail sent out",
    "ledger.restore": "earlier state put back",
    "person.add": "person recorded",
    "person.change": "person changed",
}
"""What an act of the trail is called."""

_FIELDS = {
    "order_token": "order",
    "done_at": "done at",
    "in_scope": "in scope",
    "donor_job": "donor job",
    "check_id": "check",
    "limit_used": "limit",
    "standard_uncertainty": "standard uncertainty",
    "symbol": "unit",
    "rules_sha256": "rules",
    "trace_sha256": "trace",
    "sha256": "hash",
}
_TAKEN_FOR_GRANTED = frozenset({"id", "who", "at", "salt", "canonical"})


@dataclass(frozen=True)
class FieldChange:
    """A field that an act wrote."""

    name: str
    before: str | None
    """None when there was nothing before."""
    after: str


@dataclass(frozen=True)
class HistoryLine:
    """A row of the audit trail in plain words."""

    seq: int
    at: str
    who: str
    what: str
    about: str
    why: str | None
    changes: tuple[FieldChange, ...]
    done_at: str | None
    """When it was done, when that was long before it was written down."""
    leaf: str


@dataclass(frozen=True)
class History:
    """Rows of the audit trail, the newest first."""

    about: str | None
    lines: tuple[HistoryLine, ...]
    earlier: int | None
    """Number below which the next page begins; None at the end."""


@dataclass(frozen=True)
class Found:
    """What a search gave."""

    asked: str
    hits: tuple[Hit, ...]
    slip: TagError | None
    """Why what was asked is no tag of the shop, when it looks like one."""
    meant: tuple[str, ...] = ()
    """Tags of the shop that one slip of the hand turns into what was asked."""


def history_of(
    ledger: Ledger, about: str | None, who: str | None = None, before: int | None = None
) -> History:
    """Give what was written down about something.

    Parameters
    ----------
    ledger : Ledger
        The records.
    about : str, optional
        The object, as the trail names it, for example "part QM207LRTR011"; everything when left
        out.
    who : str, optional
        Only acts of this person.
    before : int, optional
        Only rows with a lower number.

    Returns
    -------
    History
        One page of it.
    """
    with ledger.reading() as records:
        rows = trail_rows(records, _objects(about), who, before, PAGE + 1)
    shown = rows[:PAGE]
    return History(
        about=about,
        lines=tuple(_line(row) for row in shown),
        earlier=shown[-1].seq if len(rows) > PAGE else None,
    )


def find(ledger: Ledger, asked: str) -> Found:
    """Find things by words, or say what is wrong with a tag.

    Parameters
    ----------
    ledger : Ledger
        The records.
    asked : str
        Words, or a tag that was scanned or typed.

    Returns
    -------
    Found
        What holds all the words.
    """
    with ledger.reading() as records:
        tags = records.tags()
        hits = search(records, asked)
    slip: TagError | None = None
    meant: tuple[str, ...] = ()
    if looks_like_a_tag(asked) and not hits:
        try:
            tag = parse_tag(asked, tags)
        except TagError as error:
            slip, meant = error, tuple(s.tag for s in slips(asked) if s.tag in tags)
        else:
            slip = TagError(
                f"no part of the shop has the tag {tag}",
                where="tag",
                mend="Record the part at its position, or take it into stock.",
            )
    return Found(asked, hits, slip, meant)


def part_meant(ledger: Ledger, asked: str) -> str | None:
    """Give the tag of the part that was scanned or typed; None when it is no tag of the shop."""
    with ledger.reading() as records:
        try:
            tag = parse_tag(asked)
            return records.part(tag).tag
        except (TagError, RecordError):
            return None


def looks_like_a_tag(text: str) -> bool:
    """Tell whether somebody probably meant a tag: one run of letters and digits, long enough."""
    plain = text.strip().replace("-", "").rstrip("*")
    mixed = any(c.isdigit() for c in plain) and any(c.isalpha() for c in plain)
    return plain.isascii() and plain.isalnum() and mixed and len(plain) >= 8


def page_of(hit: Hit) -> str:
    """Give the page of something that was found; its history where it has no page."""
    name, job = quote(hit.name), quote(hit.job or "")
    pages = {
        "job": f"/jobs/{name}",
        "head": f"/heads/{name}",
        "run": f"/runs/{name}",
        "part": f"/parts/{name}",
        "calculation": f"/calculations/{name}",
        "shared module": f"/jobs/{job}",
        "spare part": f"/jobs/{job}",
        "scope line": f"/jobs/{job}/scope#{name}",
        MatterKind.CHANGE_ORDER.value: f"/jobs/{job}/scope#{name}",
    }
    if hit.kind in pages:
        return pages[hit.kind]
    if hit.kind == MatterKind.FINDING.value and hit.unit and hit.position:
        return f"/positions/{quote(hit.unit)}/{quote(hit.position)}#findings"
    kind = "matter" if hit.kind in set(MatterKind) else hit.kind
    return f"/history?about={quote(f'{kind} {hit.key or hit.name}')}"


def _objects(about: str | None) -> tuple[str, ...]:
    """Give all names that the trail has for an object."""
    if about is None:
        return ()
    kind, _, name = about.partition(" ")
    if kind == "matter":
        return (about, *(f"{each} {name}" for each in MatterKind))
    if kind in {"unit", "head"}:
        return tuple(f"{each} {name}" for each in ("unit", "head", "shared module", "spare part"))
    return (about,)


def _line(row: AuditEntry) -> HistoryLine:
    before = json.loads(row.before) if row.before else None
    after = json.loads(row.after)
    done_at = after.get("done_at")
    late = isinstance(done_at, str) and entered_later(done_at, row.at)
    return HistoryLine(
        seq=row.seq,
        at=row.at,
        who=row.who,
        what=ACTS.get(row.act, row.act.replace(".", ": ").replace("-", " ")),
        about=row.object,
        why=row.why,
        changes=tuple(_changes(before, after)),
        done_at=done_at if late else None,
        leaf=row.sha256,
    )


def _changes(before: Mapping[str, Any] | None, after: Mapping[str, Any]) -> Iterator[FieldChange]:
    for key, value in _flat(after):
        if key in _TAKEN_FOR_GRANTED or (before is None and value in (None, [], {}, "")):
            continue
        was = dict(_flat(before)).get(key) if before is not None else None
        if before is not None and was == value:
            continue
        shown = None if before is None else _said(was)
        yield FieldChange(_FIELDS.get(key, key.replace("_", " ")), shown, _said(value))


def _flat(content: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Give the fields of a row, those of what it holds among them."""
    for key, value in content.items():
        if isinstance(value, dict) and key in {"content", "detail"}:
            yield from _flat(value)
        else:
            yield key, value


def _said(value: object) -> str:
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(_said(each) for each in value) or "none"
    if isinstance(value, dict):
        text = ", ".join(f"{key.replace('_', ' ')} {_said(each)}" for key, each in value.items())
    else:
        text = str(value)
    return text if len(text) <= LONGEST else text[:LONGEST].rstrip() + "…"
