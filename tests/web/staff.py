"""A served shop with one person of each role, each with a session of their own."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import httpx
from argon2 import PasswordHasher
from tests.web.running import served
from tests.web.seed import BEGIN, OWNER, Bench, burn_in_bench

from spinproof.app.clock import utc_now
from spinproof.app.passwords import Passwords
from spinproof.app.people import FrontDesk, Place
from spinproof.model.access import Role
from spinproof.web.access import Cookies
from spinproof.web.application import mark_of
from spinproof.web.tls import Identity
from spinproof.web.visitor import token_of

QUICK = Passwords(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
WORD = "four plain words here"
STAFF = {
    Role.OWNER: OWNER,
    Role.TECHNICIAN: "TT-1",
    Role.INSPECTOR: "QI-2",
    Role.PRESENTER: "PR-1",
}


@dataclass
class Staff:
    """A running server, and who may ask it."""

    bench: Bench
    desk: FrontDesk
    address: str

    @property
    def cookies(self) -> Cookies:
        """Names of the cookies."""
        return Cookies.of(mark_of(self.bench.home), secure=False)

    def sign_in(self, role: Role, at: datetime | None = None, place: Place | None = None) -> str:
        """Sign somebody in, and give the browser's secret."""
        secret, _ = self.desk.sign_in(STAFF[role], WORD, place or Place(), at or utc_now())
        return secret

    def token(self, role: Role) -> str:
        """Give the form token of the client that was made last for a role."""
        return self.tokens[role]

    def __post_init__(self) -> None:
        self.tokens: dict[Role, str] = {}

    def client(self, role: Role, *, ago_s: float = 0.0, place: Place | None = None) -> httpx.Client:
        """Give a browser in which somebody signed in, some time ago."""
        client = self.stranger()
        if role is Role.GUEST:
            page = client.get("/sign-in").text
            self.tokens[role] = field_of(page, "form-token")
            return client
        secret = self.sign_in(role, utc_now() - timedelta(seconds=ago_s), place)
        client.cookies.set(self.cookies.session, secret)
        self.tokens[role] = token_of(secret)
        return client

    def stranger(self) -> httpx.Client:
        """Give a browser that was never here."""
        base = self.address.rstrip("/")
        return httpx.Client(base_url=base, headers={"origin": base})


def field_of(page: str, name: str) -> str:
    """Give what stands in a hidden field of a page."""
    return page.partition(f'name="{name}" value="')[2].partition('"')[0]


@contextmanager
def staffed_server(
    root: Path,
    *,
    beyond: bool = False,
    identity: Identity | None = None,
    on_code: Callable[[str], None] = lambda _: None,
) -> Iterator[Staff]:
    """Serve a shop with one person of each role, all with the same password."""
    bench = burn_in_bench(root)
    desk = FrontDesk(bench.ledger, QUICK)
    desk.set_password(OWNER, WORD, OWNER, BEGIN)
    for role, name in STAFF.items():
        if role is not Role.OWNER:
            desk.add_person(name, role, OWNER, BEGIN)
            desk.set_password(name, WORD, OWNER, BEGIN)
    with served(
        bench.home, beyond=beyond, identity=identity, passwords=QUICK, on_code=on_code
    ) as address:
        yield Staff(bench, desk, address)
    bench.ledger.close()
