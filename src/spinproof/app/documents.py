"""Read the files that people write, and publish the schemas they follow."""

import json
from pathlib import Path
from typing import TypeVar

from spinproof.files.durable import write_durably
from spinproof.model.documents import KINDS, parse_document
from spinproof.model.errors import DocumentError
from spinproof.model.noun import Noun

N = TypeVar("N", bound=Noun)


def read_text(path: Path) -> str:
    """Read a text file that a person wrote.

    Raises
    ------
    DocumentError
        If the file is missing, cannot be read, or is not UTF-8 text.
    """
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise DocumentError(
            "the file is not UTF-8 text",
            where=f"{path}, byte {error.start + 1}",
            mend="Save it as UTF-8 in the editor.",
        ) from error
    except OSError as error:
        raise DocumentError(
            f"the file cannot be read ({error.strerror})",
            where=str(path),
            mend="Check the name and that this user may read it.",
        ) from error


def read_document(path: Path, kind: type[N]) -> N:
    """Read a noun from a TOML file.

    Raises
    ------
    DocumentError
        If the file is missing, or does not describe the noun.
    """
    return parse_document(read_text(path), kind, str(path))


def schema_text(kind: str) -> str:
    """Give the JSON Schema (2020-12) of a kind of file, as text.

    Raises
    ------
    DocumentError
        If there is no such kind.
    """
    if kind not in KINDS:
        raise DocumentError(
            f'there is no kind of file "{kind}"',
            where="spinproof schema",
            mend=f"Choose one of: {', '.join(KINDS)}.",
        )
    schema = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **KINDS[kind].model_json_schema(),
    }
    return json.dumps(schema, indent=2, ensure_ascii=False) + "\n"


def write_schemas(folder: Path) -> list[Path]:
    """Write the schema of every kind of file into a folder, and give the paths."""
    paths = []
    for kind in KINDS:
        path = folder / f"{kind}.schema.json"
        folder.mkdir(parents=True, exist_ok=True)
        write_durably(path, schema_text(kind).encode())
        paths.append(path)
    return paths
