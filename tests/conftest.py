"""What all tests share: profiles, and the register of published sources."""

from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("ci", derandomize=True, deadline=None, max_examples=60)
settings.load_profile("ci")

DEMO_DATA = Path(__file__).parents[1] / "src" / "spinproof" / "app" / "demo_data"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Stop the collection when a published check does not name its source."""
    for item in items:
        if "published" in item.path.parts and item.get_closest_marker("source") is None:
            message = f"{item.nodeid} stands in tests/published/ and names no source"
            raise pytest.UsageError(message)
