"""What the tests of recording share."""

import pytest
from tests.record.raw_run import demo_header


@pytest.fixture
def header():
    return demo_header()


@pytest.fixture
def traces(tmp_path):
    folder = tmp_path / "traces"
    folder.mkdir()
    return folder
