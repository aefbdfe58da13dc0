"""The dryer, and a data folder of each test's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultodds.knowledge.loading import load
from faultodds.knowledge.schema import Knowledge


@pytest.fixture(scope="session")
def dryer() -> Knowledge:
    """The shipped gas dryer."""
    return load("gas_dryer")


@pytest.fixture
def data(tmp_path: Path) -> str:
    """An empty data folder."""
    folder = tmp_path / "data"
    folder.mkdir()
    return str(folder)
