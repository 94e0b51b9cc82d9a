"""The shop's signing keys: made at first use, encrypted, renewed, ended, told on paper."""

import os
import secrets
from datetime import datetime
from pathlib import Path

from spinproof.app.clock import rfc3339, utc_now
from spinproof.app.home import Home
from spinproof.dossier.key_list import (
    KEYS_FILE,
    Ended,
    KeyList,
    ListedKey,
    SigningKeys,
    make_list,
    read_key_list,
)
from spinproof.dossier.keys import (
    CERTIFICATE_FILE,
    PRIVATE_FILE,
    create_key,
    load_encrypted_key,
    load_key,
)
from spinproof.files.durable import storage_errors, sync_folder, write_all, write_durably
from spinproof.files.lock import hold
from spinproof.files.signing import PrivateKey, new_private_key, store_private_key
from spinproof.model.errors import RecordError, VaultError

ROOT_FILE = "root-key.pem"
_LOCK = "signing-keys.lock"
SHORTEST = 15
"""Characters of a passphrase, as NIST SP 800-63B-4 asks where it is the only factor."""


def signing_keys(home: Home, shop: str, passphrase: str | None = None) -> SigningKeys:
    """Give the keys that sign packages; a first call makes them.

    Parameters
    ----------
    home : Home
        The shop's folders.
    shop : str
        Name under which the shop signs.
    passphrase : str, optional
        The owner's passphrase, when it is not kept beside the keys.

    Returns
    -------
    SigningKeys
        Release key and list.

    Raises
    ------
    VaultError
        If a passphrase is needed, or it is not the one.
    PackageError
        If a key or the list is damaged.
    """
    with hold(home.journals / _LOCK, "the signing keys"):
        if not (home.keys / CERTIFICATE_FILE).exists():
            return _make(home, shop, passphrase or _new_secret(home.release_secret))
        secret = _secret(home, passphrase)
        return SigningKeys(load_key(home.keys, secret), key_list(home))


def key_list(home: Home) -> KeyList:
    """Give the shop's list of release keys.

    Raises
    ------
    RecordError
        If the shop has made no key yet.
    PackageError
        If the list is damaged.
    """
    path = home.keys / KEYS_FILE
    if not path.exists():
        raise RecordError(
            "the shop has no signing keys yet",
            where=str(home.keys),
            mend="The first dossier makes them.",
        )
    with storage_errors(path):
        return read_key_list(path.read_bytes(), str(path))


def renew(home: Home, why: Ended, passphrase: str | None = None) -> SigningKeys:
    """End the release key in use, and make the next one.

    Parameters
    ----------
    home : Home
        The shop's folders; the ended key moves into a folder of its own.
    why : Ended
        Replaced in good order, lost or stolen.
    passphrase : str, optional
        The owner's passphrase, when it is not kept beside the keys.

    Returns
    -------
    SigningKeys
        The new release key, and the list with its next number.

    Raises
    ------
    VaultError
        If a passphrase is needed, or it is not the one.
    RecordError
        If the shop has made no key yet.
    PackageError
        If a key or the list is damaged.
    """
    known, now = key_list(home), utc_now()
    secret = _secret(home, passphrase)
    with hold(home.journals / _LOCK, "the signing keys"):
        root = load_encrypted_key(home.keys / ROOT_FILE, secret)
        fresh = home.keys / f"release-{known.version + 1}"
        key = create_key(fresh, known.shop, now, secret)
        ended = [_ended(entry, why, now) for entry in known.keys]
        listed = (*ended, ListedKey(fingerprint=key.fingerprint))
        newer = make_list(root, known.shop, known.version + 1, listed, rfc3339(now))
        _put_in_use(home, fresh, known.version, newer)
    return SigningKeys(key, newer)


def protect(home: Home, fresh: str, passphrase: str | None = None) -> None:
    """Encrypt the keys with the owner's own passphrase, which is kept nowhere.

    Raises
    ------
    VaultError
        If the new passphrase is too short, or the old one is not the one.
    RecordError
        If the shop has made no key yet.
    """
    if len(fresh) < SHORTEST:
        raise VaultError(
            f"a passphrase of {len(fresh)} characters is too short",
            where="the new passphrase",
            mend=f"Take at least {SHORTEST} characters; several words are easy to keep in mind.",
        )
    key_list(home)
    secret = _secret(home, passphrase)
    with hold(home.journals / _LOCK, "the signing keys"):
        for name, what in ((ROOT_FILE, "root key"), (PRIVATE_FILE, "release key")):
            private = load_encrypted_key(home.keys / name, secret)
            aside = home.keys / f".{name}.part"
            with storage_errors(aside):
                aside.unlink(missing_ok=True)
            store_private_key(aside, private, what, fresh)
            with storage_errors(aside):
                aside.replace(home.keys / name)
        with storage_errors(home.release_secret):
            sync_folder(home.keys)
            home.release_secret.unlink(missing_ok=True)


def paper(home: Home) -> tuple[str, ...]:
    """Give the lines that tell a customer which keys are the shop's, to go another way.

    Raises
    ------
    RecordError
        If the shop has made no key yet.
    PackageError
        If the list is damaged.
    """
    known = key_list(home)
    lines = [
        f"{known.shop}: keys that sign our packages, list number {known.version}"
        f" of {known.issued_at}",
        "",
        "root key (it stays when a release key is renewed)",
        f"  {known.root_fingerprint}",
        "",
    ]
    for entry in known.keys:
        state = f"ended, {entry.ended}, {entry.ended_at}" if entry.ended else "in use"
        lines += [f"release key, {state}", f"  {entry.fingerprint}", ""]
    lines += [
        "Compare one of them with what `spinproof verify`, verify.html or openssl shows. A",
        "fingerprint that travelled with a package proves nothing.",
    ]
    return tuple(lines)


def needs_passphrase(root: Path) -> bool:
    """Tell whether the keys of a shop's folder open with the owner's passphrase alone."""
    home = Home(root)
    return (home.keys / CERTIFICATE_FILE).exists() and not home.release_secret.exists()


def passphrase_in(path: Path) -> str:
    """Read a passphrase from a file; StorageError when it cannot be read."""
    with storage_errors(path):
        return path.read_text("utf-8", errors="strict").rstrip("\r\n")


def ended_as(text: str) -> Ended:
    """Read why a key ended.

    Raises
    ------
    RecordError
        If it is none of the three reasons.
    """
    try:
        return Ended(text)
    except ValueError as error:
        raise RecordError(
            f'"{text}" is no reason for which a key ends',
            where="the reason",
            mend=f"Give one of: {', '.join(Ended)}.",
        ) from error


def _make(home: Home, shop: str, secret: str) -> SigningKeys:
    root = _root(home, secret)
    now = utc_now()
    fresh = home.keys / "release-1"
    if (fresh / PRIVATE_FILE).exists():  # an earlier attempt was cut off
        key = load_key(fresh, secret)
    else:
        key = create_key(fresh, shop, now, secret)
    known = make_list(root, shop, 1, [ListedKey(fingerprint=key.fingerprint)], rfc3339(now))
    _put_in_use(home, fresh, 0, known)
    return SigningKeys(key, known)


def _root(home: Home, secret: str) -> PrivateKey:
    path = home.keys / ROOT_FILE
    if path.exists():
        return load_encrypted_key(path, secret)
    root = new_private_key()
    store_private_key(path, root, "root key", secret)
    return root


def _put_in_use(home: Home, fresh: Path, before: int, known: KeyList) -> None:
    """Move the old key aside and the new one into its place; the list comes first."""
    with storage_errors(home.keys):
        write_durably(home.keys / KEYS_FILE, known.to_bytes())
        if before:
            old = home.keys / f"ended-{before}"
            old.mkdir(mode=0o700, exist_ok=True)
            for name in (PRIVATE_FILE, CERTIFICATE_FILE):
                (home.keys / name).replace(old / name)
        for name in (PRIVATE_FILE, CERTIFICATE_FILE):
            (fresh / name).replace(home.keys / name)
        fresh.rmdir()
        sync_folder(home.keys)


def _ended(entry: ListedKey, why: Ended, now: datetime) -> ListedKey:
    if entry.ended is not None:
        return entry
    return entry.model_copy(update={"ended": why, "ended_at": rfc3339(now)})


def _secret(home: Home, passphrase: str | None) -> str:
    if passphrase is not None:
        return passphrase
    if not home.release_secret.exists():
        raise VaultError(
            "the signing keys are encrypted, and no passphrase was given",
            where=str(home.keys),
            mend="Give the owner's passphrase.",
        )
    with storage_errors(home.release_secret):
        return home.release_secret.read_text("ascii").strip()


def _new_secret(path: Path) -> str:
    if path.exists():  # an earlier attempt was cut off
        with storage_errors(path):
            return path.read_text("ascii").strip()
    text = secrets.token_urlsafe(32)
    with storage_errors(path):
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        try:
            write_all(descriptor, text.encode() + b"\n")
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
        sync_folder(path.parent)
    return text
