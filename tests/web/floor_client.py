"""A browser without scripts: opens pages, fills in their forms and sends them."""

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from html import unescape

import httpx
from tests.web.floor_seed import FloorShop
from tests.web.running import served
from tests.web.seed import OWNER
from tests.web.staff import QUICK, WORD

from spinproof.app.clock import utc_now
from spinproof.app.people import FrontDesk
from spinproof.model.access import Role

FORM = re.compile(r'<form [^>]*action="([^"]*)".*?</form>', re.DOTALL)
HIDDEN = re.compile(r'<input type="hidden" name="([^"]*)" value="([^"]*)">')


def form_on(page: str, action: str) -> dict[str, str]:
    """Give the hidden fields of a form of a page."""
    for found in FORM.finditer(page):
        if unescape(found[1]) == action:
            return {name: unescape(value) for name, value in HIDDEN.findall(found[0])}
    raise AssertionError(f"the page has no form to {action}")


class FloorClient:
    """What somebody at the bench sees and sends."""

    def __init__(self, shop: FloorShop, http: httpx.Client) -> None:
        self.shop = shop
        self.http = http

    def page(self, path: str) -> str:
        """Open a page."""
        answer = self.http.get(path)
        assert answer.status_code == 200, answer.text
        return unescape(answer.text)

    def send(
        self, path: str, end: str, fields: Mapping[str, object], *, json: bool = False
    ) -> httpx.Response:
        """Fill in a form of a page and send it."""
        action = path + end
        data = {**form_on(self.http.get(path).text, action), **fields}
        return self.post(action, data, json=json)

    def post(
        self, action: str, data: Mapping[str, object], *, json: bool = False
    ) -> httpx.Response:
        """Send fields as they are."""
        headers = {"accept": "application/json"} if json else {}
        return self.http.post(action, data=dict(data), headers=headers)

    def sign_in(self, name: str) -> None:
        """Sign somebody in who has the word of all."""
        fields = {"name": name, "password": WORD, "then": "/"}
        answer = self.send("/sign-in", "", fields)
        assert answer.status_code == 303, answer.text


def staff(shop: FloorShop) -> None:
    """Give the shop a technician and an inspector, and everybody a password."""
    desk = FrontDesk(shop.ledger, QUICK)
    now = utc_now()
    desk.set_password(OWNER, WORD, OWNER, now)
    for name, role in (("TT-1", Role.TECHNICIAN), ("QI-2", Role.INSPECTOR)):
        desk.add_person(name, role, OWNER, now)
        desk.set_password(name, WORD, OWNER, now)


@contextmanager
def floor_client(shop: FloorShop) -> Iterator[FloorClient]:
    """Serve a shop."""
    with served(shop.home, passwords=QUICK) as address:
        base = address.rstrip("/")
        with httpx.Client(base_url=base, headers={"origin": base}) as http:
            yield FloorClient(shop, http)
    shop.ledger.close()
