"""What the tests of typed lines share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from faultodds.belief import Appliance, open_appliance
from faultodds.job import Store


@pytest.fixture(scope="module")
def dryer() -> Appliance:
    """The shipped dryer."""
    return open_appliance("gas_dryer")


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """One store for all lines: every line has a job of its own."""
    with Store.open(tmp_path_factory.mktemp("said")) as opened:
        yield opened
