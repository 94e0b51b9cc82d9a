"""The table of rules and the tests that hold them, as it is published.

Run as a program, it writes the table: ``python -m tests.ledger.rule_table``.
"""

import ast
import re
from pathlib import Path

from spinproof.ledger.rulebook.book import RULES

TESTS = Path(__file__).parents[1]
TABLE = TESTS.parent / "docs" / "rules.md"
_NAMED = re.compile(r"test_(r\d\d)_")
_HEAD = """# Rules of the ledger

What the ledger keeps to, where, and which test shows it; made from the rules themselves.
A rule that *refuses* lets no record be stored that would break it; one that *closes gates* keeps
steps closed; one that *prints* is said beside the records.

| rule | text | force | where | simplest form | tests |
| --- | --- | --- | --- | --- | --- |
"""


def named_tests() -> dict[str, list[str]]:
    """Give the tests that are named after each rule."""
    found: dict[str, list[str]] = {}
    for path in sorted(TESTS.rglob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and (match := _NAMED.match(node.name)):
                found.setdefault(match[1].upper(), []).append(
                    f"{path.relative_to(TESTS)}::{node.name}"
                )
    return found


def table() -> str:
    """Write the table."""
    tests = named_tests()
    rows = [
        f"| {rule.id} | {rule.text} | {rule.force} | {rule.where} | {rule.simplest_form or ''} | "
        f"{'<br>'.join(f'`{name}`' for name in tests.get(rule.id, []))} |"
        for rule in RULES
    ]
    return _HEAD + "\n".join(rows) + "\n"


if __name__ == "__main__":
    TABLE.write_text(table(), encoding="utf-8")
