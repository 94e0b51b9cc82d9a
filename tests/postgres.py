"""A throw-away PostgreSQL server: its own folder, a socket and no network."""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import psycopg

SETTINGS = (
    "listen_addresses=",
    "fsync=off",
    "synchronous_commit=off",
    "full_page_writes=off",
    "max_connections=80",
)


def binaries() -> Path:
    """Find the folder that holds initdb and pg_ctl; fail with words, never skip."""
    folders = [Path(found).parent for found in [shutil.which("initdb")] if found]
    with suppress(OSError, subprocess.CalledProcessError):
        told = subprocess.run(
            ["pg_config", "--bindir"], check=True, capture_output=True, text=True
        ).stdout
        folders.append(Path(told.strip()))
    folders += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    for folder in folders:
        if (folder / "initdb").exists() and (folder / "pg_ctl").exists():
            return folder
    message = (
        "PostgreSQL's server programs (initdb, pg_ctl) are not on this machine. "
        "`make test` installs them; by hand: apt-get install postgresql, or the like."
    )
    raise RuntimeError(message)


def _as_ordinary_user() -> dict[str, object]:
    """PostgreSQL refuses to run as root."""
    if os.geteuid() != 0:
        return {}
    nobody = pwd.getpwnam("nobody")
    return {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}


class Server:
    """A running server."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._count = 0

    def url(self, database: str) -> str:
        """Give the address of a database."""
        return f"postgresql://spin@/{database}?host={self.folder}"

    def new_database(self, template: str = "template1") -> str:
        """Make a database of its own for one test; give its name."""
        self._count += 1
        name = f"case{self._count}"
        self._run(f"CREATE DATABASE {name} TEMPLATE {template}")
        return name

    def drop(self, database: str) -> None:
        """Remove a database with everything that is connected to it."""
        self._run(f"DROP DATABASE {database} WITH (FORCE)")

    def _run(self, statement: str) -> None:
        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(statement.encode())


@contextmanager
def running_server(settings: tuple[str, ...] = SETTINGS) -> Iterator[Server]:
    """Run a server until the tests are done."""
    programs, identity = binaries(), _as_ordinary_user()
    folder = Path(tempfile.mkdtemp(prefix="spinpg-"))
    if identity:
        os.chown(folder, identity["user"], identity["group"])
    data = folder / "data"

    def run(program: str, *arguments: str) -> None:
        done = subprocess.run(
            [programs / program, "-D", data, *arguments],
            check=False,
            cwd=folder,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            **identity,
        )
        if done.returncode:
            message = f"{program} failed: {done.stdout}"
            raise RuntimeError(message)

    try:
        run("initdb", "--no-sync", "-A", "trust", "-U", "spin", "-E", "UTF8", "--locale=C")
        options = " ".join(f"-c {setting}" for setting in settings)
        log = str(folder / "log")
        run("pg_ctl", "-w", "-l", log, "-o", f"-k {folder} {options}", "start")
        try:
            yield Server(folder)
        finally:
            run("pg_ctl", "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
