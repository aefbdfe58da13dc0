"""Settings and shared fixtures of the suite."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# As the command line does: the products are small, and threads cost more than they bring.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Random examples are the same in every run, and a slow machine fails no test.
settings.register_profile(
    "suite",
    deadline=None,
    derandomize=True,
    max_examples=40,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
settings.load_profile("suite")


@pytest.fixture(scope="session", autouse=True)
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Compiled appliances go to a folder of this run, never to the user's cache."""
    before = os.environ.get("FAULTODDS_CACHE")
    os.environ["FAULTODDS_CACHE"] = str(tmp_path_factory.mktemp("cache"))
    yield
    if before is None:
        del os.environ["FAULTODDS_CACHE"]
    else:
        os.environ["FAULTODDS_CACHE"] = before


@pytest.fixture
def cache(tmp_path: Path) -> Path:
    """An empty cache folder of this test alone."""
    return tmp_path / "cache"
