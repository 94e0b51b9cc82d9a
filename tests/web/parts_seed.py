"""A home folder with a job of the full process: parts in their head, findings, an open scope."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path

import httpx
from tests.demo_files import JOB
from tests.web.seed import HEAD, OWNER

from spinproof.app.clock import utc_now
from spinproof.app.home import Home, open_home
from spinproof.app.intake import open_shop_ledger
from spinproof.app.people import FrontDesk
from spinproof.app.shop import shop_rules
from spinproof.ledger.ledger import Ledger
from spinproof.ledger.shop_entries import Piece
from spinproof.model.check import Energy
from spinproof.model.handover import ScopeState
from spinproof.model.job import JobFile, Process
from spinproof.model.matter import Finding, Lockout
from spinproof.model.part import Provenance, Severity
from spinproof.model.tag import tag_of

SHARED = "QM-207-S"
PLACES = {
    "replace inflatable door seal": "DSL",
    "replace main bearings": "BRF",
    "window replacement": "WIN",
    "ion-module replacement": "ION",
    "replace drive belt": "BLT",
    "electropolish rotor": "RTR",
    "electropolish bowl": "BWL",
}
AS_FOUND = ("DSL", "RTR", "WIN", "BWL", "TAC", "BLT")
NEW_SEAL = tag_of("QM207LDSL02")
WINDOW = tag_of("QM207LWIN01")
ROTOR = tag_of("QM207LRTR01")


@dataclass
class PartsShop:
    """A home folder and its ledger."""

    home: Home
    ledger: Ledger
    now: datetime

    def later(self) -> datetime:
        """Let a minute go on."""
        self.now += timedelta(minutes=1)
        return self.now


def parts_shop(root: Path) -> PartsShop:
    """Give a shop whose head QM-207-L was taken in under the full process."""
    home = open_home(root)
    shop = PartsShop(home, open_shop_ledger(home), utc_now() - timedelta(days=2))
    FrontDesk(shop.ledger).first_owner(OWNER, shop.now)
    with shop.ledger.transaction("RT-1", shop.later()) as records:
        records.add_job(full_job(), shop_rules())
    with shop.ledger.transaction("TD-2", shop.later()) as records:
        names = {place.code: place.name for place in shop_rules().positions.positions}
        for code in AS_FOUND:
            piece = Piece(tag_of(f"QM207L{code}01"), names[code], serial=f"S-{code}")
            records.record_as_found(HEAD, code, piece)
        records.add_part(
            "QA-1041", "DSL", Piece(NEW_SEAL, "door seal, new"), Provenance.REPLACED_NEW
        )
        for severity, code, text in (
            (Severity.FUNCTION, "DSL", "door seal loses 21 % in 60 s"),
            (Severity.SAFETY, "RTR", "crack beside a rotor bolt hole"),
            (Severity.COSMETIC, "RTR", "stain on the rotor"),
        ):
            seen = Finding(
                text=text, severity=severity, position=code, tag=tag_of(f"QM207L{code}01")
            )
            records.open_matter("QA-1041", seen, unit=HEAD)
        lock = Lockout(where="bowl", locked=tuple(Energy), verification="0 V, 0 bar, at rest")
        records.open_matter("QA-1041", lock, unit=HEAD)
        line = records.add_scope_item(
            "QA-1041", HEAD, "replace head tach", position="TAC", consequence="The tach stays."
        )
        records.change_scope(
            "QA-1041", line.item, ScopeState.RECOMMENDED, "recommended", "The tach stays."
        )
    return shop


def full_job() -> JobFile:
    """Give the demo's job under the full process, its lines at their positions."""
    document = JOB.to_document() | {"process": Process.FULL.value}
    for line in document["scope"]:
        if line["unit"] == HEAD:
            line["position"] = PLACES.get(line["text"])
    return JobFile.from_document(document)


class _Forms(HTMLParser):
    """Collects the forms of a page, with what stands in their fields."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.forms: dict[str, dict[str, str]] = {}
        self._fields: dict[str, str] | None = None
        self._choice: str | None = None
        self._area: str | None = None
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._fields = self.forms.setdefault(given["action"], {})
        elif self._fields is None:
            return
        elif tag == "input" and given.get("type") != "file":
            self._fields[given["name"]] = given.get("value", "")
        elif tag == "select":
            self._choice = given["name"]
        elif tag == "option" and self._choice is not None:
            if "selected" in given or self._choice not in self._fields:
                self._fields[self._choice] = given.get("value", "")
        elif tag == "textarea":
            self._area = given["name"]
            self._fields[self._area] = ""

    def handle_data(self, data: str) -> None:
        if self._area is not None and self._fields is not None:
            self._fields[self._area] += data

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._fields = None
        elif tag == "select":
            self._choice = None
        elif tag == "textarea":
            self._area = None


def fields_of(text: str, action: str) -> dict[str, str]:
    """Give the fields of a form of a page, as a browser would send them untouched."""
    forms = _Forms(text).forms
    assert action in forms, f"no form {action}, but {', '.join(forms)}"
    return forms[action]


def send(
    client: httpx.Client,
    page: str,
    action: str,
    files: dict[str, tuple[str, bytes]] | None = None,
    **typed: str,
) -> httpx.Response:
    """Fill in a form of a page and send it, as a browser does."""
    fields = fields_of(client.get(page).text, action)
    unknown = set(typed) - set(fields)
    assert not unknown, f"the form {action} has no field {', '.join(unknown)}"
    origin = str(client.base_url).rstrip("/")
    return client.post(action, data=fields | typed, files=files, headers={"Origin": origin})
