"""The sealed store: who the customers are, and pictures as they came from the camera.

It lies in a folder of its own, which no export and no package ever includes. Everything in it is
sealed with one random key; that key is sealed in turn with a passphrase, or with a key file that
only its owner can read. Losing both loses the identities for good.
"""

import json
import os
import re
import secrets
import stat
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, TypeAdapter, ValidationError

from spinproof.evidence.identity import ForbiddenWord, Identity, words_of
from spinproof.evidence.sealing import KEY_BYTES, UnsealError, key_from_passphrase, seal, unseal
from spinproof.files.canonical import canonical_json
from spinproof.files.digest import sha256_of_bytes
from spinproof.files.durable import storage_errors, sync_folder, write_durably
from spinproof.files.lock import hold
from spinproof.model.errors import BusyError, RecordError, VaultError
from spinproof.model.noun import Noun

COST = 17
"""Cost of a guess at the passphrase, as a power of two: 128 MB of memory, about half a second."""
PASSPHRASE_LENGTH = 15
"""Shortest passphrase, as NIST SP 800-63B-4 asks where it is the only factor."""

_HEADER = "vault.json"
_IDENTITIES = "identities.sealed"
_ORIGINALS = "originals"
_BACKUP = "Put the file back from a backup; what stands there is not what the shop wrote."

Secret = str | Path
"""A passphrase, or the path of a key file."""


class _PassphraseLock(Noun):
    kind: Literal["passphrase"] = "passphrase"
    salt: Annotated[str, Field(pattern="^[0-9a-f]{32}$")]
    cost: Annotated[int, Field(ge=4, le=20)]


class _KeyFileLock(Noun):
    kind: Literal["key-file"] = "key-file"


class _Header(Noun):
    schema_version: Literal["spinproof.vault.v1"] = "spinproof.vault.v1"
    lock: Annotated[_PassphraseLock | _KeyFileLock, Field(discriminator="kind")]
    sealed_key: Annotated[str, Field(pattern="^[0-9a-f]{120}$")]
    """The key of everything else, sealed."""
    sum: str
    """SHA-256 of the rest: tells a damaged header from a wrong passphrase."""

    @property
    def purpose(self) -> bytes:
        return _purpose(self.lock)

    @classmethod
    def closing(cls, lock: "_PassphraseLock | _KeyFileLock", sealed_key: bytes) -> Self:
        bare = cls(lock=lock, sealed_key=sealed_key.hex(), sum="")
        return cls(lock=lock, sealed_key=sealed_key.hex(), sum=bare.right_sum())

    def right_sum(self) -> str:
        document = self.to_document()
        document.pop("sum")
        return sha256_of_bytes(canonical_json(document))


def _purpose(lock: Noun) -> bytes:
    return b"spinproof vault key " + canonical_json(lock.to_document())


class Vault:
    """The sealed store, open. `make_vault` and `open_vault` give one."""

    def __init__(self, folder: Path, key: bytes) -> None:
        self.folder = folder
        self._key = key

    def aliases(self) -> tuple[str, ...]:
        """Give the aliases of all customers, in order."""
        return tuple(identity.alias for identity in self._identities())

    def identity(self, alias: str) -> Identity:
        """Give a customer by the alias.

        Raises
        ------
        RecordError
            If there is none.
        """
        for identity in self._identities():
            if identity.alias == alias:
                return identity
        raise RecordError(
            "the sealed store holds no such customer",
            where=f"alias {alias}",
            mend="Enter the customer first, or check the alias.",
        )

    def customer_of(self, job: str) -> Identity | None:
        """Give the customer of a job, or None when nobody has entered one."""
        return next((held for held in self._identities() if job in held.orders), None)

    def put(self, identity: Identity, *, take_over: bool = False) -> None:
        """Store a customer; one under the same alias is replaced.

        Parameters
        ----------
        identity : Identity
            The customer.
        take_over : bool
            Whether its jobs are taken from whoever has them; who has none left is forgotten.

        Raises
        ------
        RecordError
            If a job of it belongs to another customer already, and is not taken over.
        """
        with hold(self.folder / "vault.lock", "the sealed store"):
            others = [held for held in self._identities() if held.alias != identity.alias]
            if take_over:
                others = [rest for held in others if (rest := _without(held, identity)) is not None]
            for other in others:
                if shared := sorted(identity.orders.keys() & other.orders.keys()):
                    raise RecordError(
                        f"the job belongs to {other.alias} already",
                        where=f"job {shared[0]} of {identity.alias}",
                        mend="A job has one customer; take it from the other one first.",
                    )
            records = sorted([*others, identity], key=lambda record: record.alias)
            data = canonical_json([record.to_document() for record in records])
            self._write(self.folder / _IDENTITIES, data, b"identities")

    def forbidden_words(self, job: str, *, public: bool = False) -> tuple[ForbiddenWord, ...]:
        """Give what must not stand in anything that leaves the shop with a job.

        Parameters
        ----------
        job : str
            The job whose document, film or file it is.
        public : bool
            Whether others than the customer will see it; then the order number is forbidden too.

        Returns
        -------
        tuple of ForbiddenWord
            Words of this customer and of every other one.

        Raises
        ------
        RecordError
            If no customer has this job, so that nobody could say what is forbidden.
        """
        identities = self._identities()
        if not any(job in identity.orders for identity in identities):
            raise RecordError(
                "the sealed store holds no customer of this job, so nothing can be checked",
                where=f"job {job}",
                mend="Enter the customer with its order number for the job first.",
            )
        own = None if public else job
        return tuple(word for identity in identities for word in words_of(identity, own_job=own))

    def keep_original(self, data: bytes) -> str:
        """Seal a picture as it came from the camera; give the SHA-256 of its bytes.

        Parameters
        ----------
        data : bytes
            The whole file.

        Returns
        -------
        str
            Its SHA-256, under which `original` gives it back.
        """
        sha256 = sha256_of_bytes(data)
        with storage_errors(self.folder):
            (self.folder / _ORIGINALS).mkdir(mode=0o700, exist_ok=True)
        place = self._place_of_original(sha256)
        if not place.exists():
            self._write(place, data, f"original {sha256}".encode())
        return sha256

    def original(self, sha256: str) -> bytes:
        """Give back a picture as it came from the camera.

        Parameters
        ----------
        sha256 : str
            SHA-256 of its bytes.

        Returns
        -------
        bytes
            The whole file.

        Raises
        ------
        RecordError
            If it is not held.
        """
        place = self._place_of_original(sha256)
        if not re.fullmatch("[0-9a-f]{64}", sha256) or not place.is_file():
            raise RecordError(
                "the sealed store holds no such original",
                where=f"original {sha256[:64]!r}",
                mend="Check the SHA-256 that the evidence names as its origin.",
            )
        return self._read(place, f"original {sha256}".encode())

    def change_secret(self, secret: Secret, *, cost: int = COST) -> None:
        """Lock the store with another passphrase or key file from now on.

        Parameters
        ----------
        secret : str or Path
            The new passphrase, or the path of a key file; a missing one is made.
        cost : int
            Cost of a guess at the passphrase.

        Notes
        -----
        What is sealed stays as it is; its key is sealed anew. Whoever has both an old copy of
        the store's header and the old passphrase can still open it, so destroy old copies.
        """
        with hold(self.folder / "vault.lock", "the sealed store"):
            _write_header(self.folder, self._key, secret, cost)

    def _identities(self) -> tuple[Identity, ...]:
        place = self.folder / _IDENTITIES
        if not place.exists():
            return ()
        documents = json.loads(self._read(place, b"identities"))
        try:
            return TypeAdapter(tuple[Identity, ...]).validate_python(documents, strict=False)
        except ValidationError as error:
            raise VaultError(
                "the customers were written by another release of this program",
                where=str(place),
                mend="Open the store with the newer release. Nothing was changed.",
            ) from error

    def _place_of_original(self, sha256: str) -> Path:
        return self.folder / _ORIGINALS / f"{sha256}.sealed"

    def _write(self, place: Path, data: bytes, purpose: bytes) -> None:
        write_durably(place, seal(self._key, data, purpose))

    def _read(self, place: Path, purpose: bytes) -> bytes:
        with storage_errors(place):
            sealed = place.read_bytes()
        try:
            return unseal(self._key, sealed, purpose)
        except UnsealError as error:
            raise VaultError(
                "the sealed file was changed since it was written, or is another one",
                where=str(place),
                mend=_BACKUP,
            ) from error


def _without(held: Identity, taker: Identity) -> Identity | None:
    """Give a customer without the jobs that another takes over; None when it had no others."""
    left = {job: order for job, order in held.orders.items() if job not in taker.orders}
    if left == held.orders:
        return held
    return held.model_copy(update={"orders": left}) if left else None


def make_vault(folder: Path, secret: Secret, *, cost: int = COST) -> Vault:
    """Make the sealed store.

    Parameters
    ----------
    folder : Path
        Its folder; it is made when missing.
    secret : str or Path
        A passphrase, or the path of a key file; a missing one is made, for the owner's eyes only.
    cost : int
        Cost of a guess at the passphrase.

    Returns
    -------
    Vault
        The store, open.

    Raises
    ------
    BusyError
        If there is a store already: it is never replaced.
    """
    with storage_errors(folder):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    with hold(folder / "vault.lock", "the sealed store"):
        if (folder / _HEADER).exists():
            raise BusyError(
                "there is a sealed store already",
                where=str(folder),
                mend="Open it, or move it away first: it may hold the customers of earlier jobs.",
            )
        key = secrets.token_bytes(KEY_BYTES)
        _write_header(folder, key, secret, cost)
    return Vault(folder, key)


def open_vault(folder: Path, secret: Secret) -> Vault:
    """Open the sealed store.

    Parameters
    ----------
    folder : Path
        Its folder.
    secret : str or Path
        The passphrase, or the path of the key file.

    Returns
    -------
    Vault
        The store, open.

    Raises
    ------
    VaultError
        If the passphrase or key file is wrong, or the store was changed.
    """
    header = _read_header(folder)
    if isinstance(header.lock, _PassphraseLock) != isinstance(secret, str):
        raise VaultError(
            f"the sealed store is locked with a {header.lock.kind.replace('-', ' ')}",
            where=str(folder),
            mend=f"Give the {header.lock.kind.replace('-', ' ')}.",
        )
    try:
        key = unseal(
            _unlocking_key(header.lock, secret), bytes.fromhex(header.sealed_key), header.purpose
        )
    except UnsealError as error:
        raise VaultError(
            "the passphrase is wrong" if isinstance(secret, str) else "it is another key file",
            where=str(folder),
            mend="Try again; capital letters count. Nothing was changed.",
        ) from error
    return Vault(folder, key)


def _read_header(folder: Path) -> _Header:
    place = folder / _HEADER
    with storage_errors(place):
        data = place.read_bytes()
    try:
        header = _Header.model_validate_json(data)
    except ValidationError as error:
        raise VaultError("the header is damaged", where=str(place), mend=_BACKUP) from error
    if header.sum != header.right_sum():
        raise VaultError("the header was changed", where=str(place), mend=_BACKUP)
    return header


def _write_header(folder: Path, key: bytes, secret: Secret, cost: int) -> None:
    lock: _PassphraseLock | _KeyFileLock
    if isinstance(secret, str):
        _require_length(secret)
        lock = _PassphraseLock(salt=secrets.token_hex(16), cost=cost)
    else:
        lock = _KeyFileLock()
        if not secret.exists():
            _make_key_file(secret)
    sealed = seal(_unlocking_key(lock, secret), key, _purpose(lock))
    write_durably(folder / _HEADER, canonical_json(_Header.closing(lock, sealed).to_document()))


def _require_length(passphrase: str) -> None:
    if len(passphrase) < PASSPHRASE_LENGTH:
        raise VaultError(
            f"the passphrase has {len(passphrase)} characters, fewer than {PASSPHRASE_LENGTH}",
            where="passphrase of the sealed store",
            mend="Take several words that nobody would put together; blanks are welcome.",
        )


def _unlocking_key(lock: _PassphraseLock | _KeyFileLock, secret: Secret) -> bytes:
    if isinstance(lock, _PassphraseLock):
        return key_from_passphrase(str(secret), bytes.fromhex(lock.salt), lock.cost)
    return _read_key_file(Path(secret))


def _make_key_file(path: Path) -> None:
    with storage_errors(path):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(secrets.token_hex(KEY_BYTES).encode() + b"\n")
            file.flush()
            os.fsync(file.fileno())
        sync_folder(path.parent)


def _read_key_file(path: Path) -> bytes:
    with storage_errors(path):
        mode = stat.S_IMODE(path.stat().st_mode)
        text = path.read_bytes().strip()
    if mode & 0o077:
        raise VaultError(
            f"others on this machine may read the key file (its rights are {mode:03o})",
            where=str(path),
            mend=f"Take those rights away: chmod 600 {path}",
        )
    if not re.fullmatch(rb"[0-9a-f]{64}", text):
        raise VaultError("the key file is damaged", where=str(path), mend=_BACKUP)
    return bytes.fromhex(text.decode())
