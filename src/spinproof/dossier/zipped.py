"""A package as one ZIP: the same package gives the same bytes, and a hostile one stays packed."""

import io
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath

from spinproof.files.archive import refusal_of
from spinproof.files.durable import storage_errors, write_durably
from spinproof.model.errors import PackageError

MOMENT = (1980, 1, 1, 0, 0, 0)
"""Date of every entry: the earliest that the format knows; the package states its own."""
REGULAR = 0o100644 << 16
PACKED_ALREADY = {".parquet", ".pdf", ".mp4", ".jpg", ".png"}
UNPACKED_LIMIT = 8_000_000_000


def zip_package(package: Path, target: Path) -> None:
    """Write a package as one ZIP, in a folder of its own name.

    Parameters
    ----------
    package : Path
        Folder of the package.
    target : Path
        The ZIP; nothing is overwritten.

    Raises
    ------
    PackageError
        If a file stands there already.
    """
    if target.exists():
        raise PackageError(
            "a file stands there already", where=str(target), mend="Choose another name."
        )
    packed = io.BytesIO()
    with storage_errors(package), zipfile.ZipFile(packed, "w") as archive:
        for path in sorted(path for path in package.rglob("*") if path.is_file()):
            name = (PurePosixPath(package.name) / path.relative_to(package).as_posix()).as_posix()
            entry = zipfile.ZipInfo(name, MOMENT)
            entry.external_attr, entry.create_system = REGULAR, 3
            stored = path.suffix in PACKED_ALREADY
            entry.compress_type = zipfile.ZIP_STORED if stored else zipfile.ZIP_DEFLATED
            archive.writestr(entry, path.read_bytes(), compresslevel=9)
    write_durably(target, packed.getvalue())


@contextmanager
def unzipped(archive: Path) -> Iterator[Path]:
    """Give the folder of a package that lies in a ZIP, for as long as it is looked at.

    Parameters
    ----------
    archive : Path
        The ZIP.

    Yields
    ------
    Path
        The only folder at its top, unpacked aside; it is removed afterwards.

    Raises
    ------
    PackageError
        If it is no ZIP, must not be unpacked, or does not hold exactly one folder.

    Notes
    -----
    StorageError says when the disk is full; nothing is left behind then.
    """
    with storage_errors(archive), archive.open("rb") as file:
        refusal = refusal_of(file, unpacked_limit=UNPACKED_LIMIT)
    if refusal is not None:
        raise PackageError(
            f"the archive is not unpacked: {refusal}",
            where=str(archive),
            mend="Ask for the package anew; one that was made by this program holds no such thing.",
        )
    with storage_errors(archive), tempfile.TemporaryDirectory(prefix="spinproof-") as aside:
        _unpack(archive, Path(aside))
        (*others, folder) = sorted(Path(aside).iterdir()) or (Path(aside) / "nothing",)
        if others or not folder.is_dir():
            raise PackageError(
                f"the archive holds {len(others) + folder.exists()} things at its top, and one"
                " folder belongs there",
                where=str(archive),
                mend="Give the ZIP as it was sent, or unpack it and name the folder.",
            )
        yield folder


def _unpack(archive: Path, aside: Path) -> None:
    try:
        with zipfile.ZipFile(archive) as packed:
            for entry in packed.infolist():
                target = aside / entry.filename
                if entry.is_dir():
                    target.mkdir(parents=True, exist_ok=True)
                    continue
                target.parent.mkdir(parents=True, exist_ok=True)
                with packed.open(entry) as source, target.open("wb") as sink:
                    shutil.copyfileobj(source, sink)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, RuntimeError, ValueError) as error:
        raise PackageError(
            f"the archive is damaged ({error})",
            where=str(archive),
            mend="Ask for the package anew.",
        ) from error
