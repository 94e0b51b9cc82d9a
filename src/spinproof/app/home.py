"""The home folder: where a shop keeps its ledger, traces, evidence, keys and dossiers."""

from dataclasses import dataclass
from pathlib import Path

from spinproof.model.errors import StorageError


@dataclass(frozen=True)
class Home:
    """The folders of one shop, all under one root."""

    root: Path

    @property
    def ledger_url(self) -> str:
        """Database address of the ledger."""
        return f"sqlite:///{self.root / 'ledger.db'}"

    @property
    def journals(self) -> Path:
        """Recordings that are not sealed yet."""
        return self.root / "journals"

    @property
    def traces(self) -> Path:
        """Sealed traces, each named by its SHA-256."""
        return self.root / "traces"

    @property
    def evidence(self) -> Path:
        """Evidence files, each named by its SHA-256."""
        return self.root / "evidence"

    @property
    def keys(self) -> Path:
        """The shop's signing key and certificate."""
        return self.root / "keys"

    @property
    def dossiers(self) -> Path:
        """Packages that were handed over."""
        return self.root / "dossiers"

    @property
    def vault(self) -> Path:
        """The sealed store: customers and pictures as they came. No export ever holds it."""
        return self.root / "vault"

    @property
    def vault_key(self) -> Path:
        """Key file of the sealed store; keep it elsewhere, or use a passphrase."""
        return self.root / "vault.key"

    @property
    def release_secret(self) -> Path:
        """Passphrase of the signing keys, until the owner keeps it elsewhere."""
        return self.root / "release.secret"

    def trace(self, sha256: str) -> Path:
        """Give the path of a sealed trace."""
        return self.traces / f"{sha256}.parquet"


def open_home(root: Path) -> Home:
    """Open a home folder, making what is missing.

    Parameters
    ----------
    root : Path
        The folder; it is made when it does not exist.

    Returns
    -------
    Home
        The folders.

    Raises
    ------
    StorageError
        If the folder cannot be made or written to.
    """
    home = Home(root.absolute())
    try:
        for folder in (home.journals, home.traces, home.evidence, home.keys, home.dossiers):
            folder.mkdir(parents=True, exist_ok=True)
        probe = home.root / ".writable"
        probe.touch()
        probe.unlink()
    except OSError as error:
        raise StorageError(
            f"the home folder cannot be used ({error.strerror})",
            where=str(root),
            mend="Choose a folder on a local disk that this user may write to.",
        ) from error
    return home
