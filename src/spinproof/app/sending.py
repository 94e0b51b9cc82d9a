"""A form that is sent twice has one effect."""

import threading
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

from spinproof.app.clock import rfc3339
from spinproof.ledger.ledger import Ledger
from spinproof.model.errors import DocumentError, GateClosedError

KEPT = timedelta(days=30)
"""How long a form is remembered."""
KEY_LENGTH = range(20, 65)


class Sending:
    """Carries out forms, each key once, even when a page was sent again days later."""

    def __init__(self, ledger: Ledger) -> None:
        self._ledger = ledger
        self._guard = threading.Lock()
        self._turns: dict[str, threading.Lock] = defaultdict(threading.Lock)
        self._waiting: Counter[str] = Counter()

    def once(self, key: str, action: str, who: str, at: datetime, act: Callable[[], str]) -> str:
        """Carry out an action, or give where it led when it was carried out before.

        Parameters
        ----------
        key : str
            What the form carries; drawn anew for each form that is shown.
        action : str
            Where the form is sent to.
        who : str
            Who sends it.
        at : datetime
            The present instant.
        act : callable
            Does it and gives the page that it leads to. When it raises, nothing was done.

        Returns
        -------
        str
            The page to show.

        Raises
        ------
        DocumentError
            If the key is none, or belongs to another form.
        GateClosedError
            If the program was stopped in the middle of it before.
        """
        if len(key) not in KEY_LENGTH or not key.isascii() or not key.isprintable():
            raise DocumentError(
                "the form carries no key of its own",
                where=action,
                mend="Open the page again and send it from there.",
            )
        with self._turn(key):
            led_to = self._known(key, action, who)
            return led_to if led_to is not None else self._carry_out(key, action, who, at, act)

    @contextmanager
    def _turn(self, key: str) -> Iterator[None]:
        with self._guard:
            turn = self._turns[key]
            self._waiting[key] += 1
        try:
            with turn:
                yield
        finally:
            with self._guard:
                self._waiting[key] -= 1
                if not self._waiting[key]:
                    del self._turns[key], self._waiting[key]

    def _known(self, key: str, action: str, who: str) -> str | None:
        with self._ledger.reading() as records:
            form = records.form(key)
        if form is None:
            return None
        if (form.action, form.person) != (action, who):
            raise DocumentError(
                "the form's key belongs to another form",
                where=action,
                mend="Open the page again and send it from there.",
            )
        if form.location is None:
            raise GateClosedError(
                "this form was sent before, and the program was stopped before it said how it went",
                where=action,
                mend="Look whether it is done; if it is not, open the page anew and send it again.",
            )
        return form.location

    def _carry_out(
        self, key: str, action: str, who: str, at: datetime, act: Callable[[], str]
    ) -> str:
        with self._ledger.transaction(who, at) as records:
            records.forget_forms(rfc3339(at - KEPT))
            records.claim_form(key, action)
        try:
            location = act()
        except BaseException:
            with self._ledger.transaction(who, at) as records:
                records.release_form(key)
            raise
        with self._ledger.transaction(who, at) as records:
            records.finish_form(key, location)
        return location
