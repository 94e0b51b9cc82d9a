"""What all tests share: profiles, and the register of published sources."""

import pytest
from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None, max_examples=60)
settings.load_profile("ci")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--sources", action="store_true", help="print the published sources")


def pytest_collection_finish(session: pytest.Session) -> None:
    """Print the register of sources: kind, source, file."""
    if not session.config.getoption("--sources"):
        return
    rows = set()
    for item in session.items:
        if marker := item.get_closest_marker("source"):
            rows.add((marker.kwargs.get("kind", "published"), marker.args[0], item.path.name))
    for kind, source, file in sorted(rows):
        print(f"{kind:18} {source}  ({file})")  # noqa: T201 - this option is for printing


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Stop the collection when a published check does not name its source."""
    for item in items:
        if "published" in item.path.parts and item.get_closest_marker("source") is None:
            message = f"{item.nodeid} stands in tests/published/ and names no source"
            raise pytest.UsageError(message)
