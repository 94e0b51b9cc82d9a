"""Rules of the house that no linter has."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from spinproof.model import errors

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "spinproof"
MODULES = sorted(SOURCE.rglob("*.py"))
COMPUTING_ROOMS = ("physics", "stats", "signals")


def functions(module: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in ast.walk(ast.parse(module.read_text())):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def public_functions(room: str) -> Iterator[tuple[Path, ast.FunctionDef | ast.AsyncFunctionDef]]:
    for module in sorted((SOURCE / room).glob("*.py")):
        for node in ast.parse(module.read_text()).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield module, node


@pytest.mark.parametrize("module", MODULES, ids=lambda path: str(path.relative_to(SOURCE)))
def test_modules_and_bodies_fit_on_their_screens(module: Path):
    assert len(module.read_text().splitlines()) <= 500
    for function in functions(module):
        body = function.body[1:] if ast.get_docstring(function) else function.body
        lines = body[-1].end_lineno - body[0].lineno + 1 if body else 0
        assert lines <= 50, f"{module.name}: {function.name} has {lines} lines"


@pytest.mark.parametrize("room", COMPUTING_ROOMS)
def test_public_laws_tell_their_units_errors_and_sources(room: str):
    for module, function in public_functions(room):
        text = ast.get_docstring(function) or ""
        place = f"{module.name}: {function.name}"
        assert "Parameters\n---" in text, f"{place} does not describe its parameters"
        returns = isinstance(function.returns, ast.Constant) or "Returns\n---" in text  # or None
        assert returns, f"{place} does not describe what it returns"
        assert "Raises\n---" in text or "Never raises" in text, f"{place} is silent about errors"


def test_no_file_names_a_registry_or_a_path_of_this_machine():
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    ).stdout.split()
    hosts = re.compile(r"(files\.)?python" + r"hosted\.org|py" + r"pi\.org|registry\.np" + r"mjs")
    for name in listed:
        path = ROOT / name
        if not path.is_file() or path.suffix in {".png", ".ttf", ".otf", ".woff2"}:
            continue
        text = path.read_text(encoding="utf-8", errors="replace")
        assert not hosts.search(text), f"{name} names a registry"
        assert f"{ROOT}/" not in text, f"{name} names a path of this machine"


def test_every_module_says_what_it_is():
    for module in MODULES:
        if "migrations" in module.parts:
            continue
        assert ast.get_docstring(ast.parse(module.read_text())), f"{module} has no docstring"


def test_help_loads_no_heavy_library():
    """The command line answers at once: what a command needs, it imports itself."""
    code = (
        "import sys; from spinproof.cli.main import app; from typer.testing import CliRunner;"
        "assert CliRunner().invoke(app, ['--help']).exit_code == 0;"
        "heavy = {'scipy', 'numpy', 'pyarrow', 'sqlalchemy', 'fastapi', 'typst', 'pymodbus'};"
        "print(sorted(heavy & set(sys.modules)))"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], check=True, capture_output=True, text=True
    )
    assert result.stdout.strip() == "[]"


def test_every_error_code_is_in_the_documentation():
    kinds = [
        kind
        for kind in vars(errors).values()
        if isinstance(kind, type) and issubclass(kind, errors.SpinproofError)
    ]
    page = (ROOT / "docs" / "errors.md").read_text()
    for kind in kinds:
        assert f"| `{kind.code}` | {kind.exit_status} |" in page, f"{kind.code} is not documented"
    assert len({kind.code for kind in kinds}) == len(kinds)
