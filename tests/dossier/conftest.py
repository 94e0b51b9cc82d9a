"""Packages of the example, written once for all tests of a process."""

import pytest
from tests.dossier.handover_example import example, write_example


@pytest.fixture(scope="session")
def written(tmp_path_factory):
    """Give the package of the whole example and the key that signed it."""
    return write_example(example(), tmp_path_factory.mktemp("whole"))


@pytest.fixture(scope="session")
def package(written):
    """Give the package of the whole example; tests only read it."""
    return written[0]
