"""Writing to the ledger: every change goes through here, and none passes the audit trail by."""

from collections.abc import Callable
from typing import Any

from sqlalchemy.orm import Session

from spinproof.files.canonical import canonical_json, digest_of
from spinproof.ledger import audit, tables
from spinproof.ledger.head_reading import HeadReading
from spinproof.model.noun import Noun


class Book(HeadReading):
    """A view of the ledger that may change it, in the name of somebody at some moment."""

    def __init__(
        self, session: Session, *, who: str, at: str, draw_salt: Callable[[], bytes]
    ) -> None:
        super().__init__(session)
        self._who = who
        self._at = at
        self._draw_salt = draw_salt

    def _add(self, row: tables.Base, act: str, about: str, why: str | None = None) -> None:
        self._session.add(row)
        self._session.flush()
        self._tell(act, about, (None, audit.content(row)), why)

    def _change(
        self, row: tables.Base, act: str, about: str, why: str | None = None, **values: object
    ) -> None:
        before = audit.content(row)
        for key, value in values.items():
            setattr(row, key, value)
        self._session.flush()
        self._tell(act, about, (before, audit.content(row)), why)

    def _tell(
        self,
        act: str,
        about: str,
        change: tuple[dict[str, Any] | None, dict[str, Any]],
        why: str | None,
    ) -> None:
        audit.append(
            self._session,
            at=self._at,
            who=self._who,
            act=act,
            about=about,
            change=change,
            why=why,
            salt=self._draw_salt(),
        )

    def _keep(self, kind: str, name: str, document: Noun | dict[str, Any]) -> str:
        """Hold a document by its hash; one that is held already stays as it is."""
        content = document.to_document() if isinstance(document, Noun) else document
        sha256 = digest_of(content)
        if self._session.get(tables.Document, sha256) is None:
            row = tables.Document(
                sha256=sha256,
                kind=kind,
                name=name,
                revision=content.get("revision"),
                canonical=canonical_json(content).decode(),
                kept_at=self._at,
            )
            self._add(row, "document.keep", f"{kind} {name}")
        return sha256
