"""Settings and shared fixtures of the suite."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from faultodds.job import standing
from kept_advice import KeptAdvice

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
def _own_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Compiled appliances, jobs and revisions go to folders of this run, never to the user's: an accepted revision of
    theirs would change every answer."""
    with pytest.MonkeyPatch.context() as patch:
        for variable in ("FAULTODDS_CACHE", "FAULTODDS_DATA"):
            patch.setenv(variable, str(tmp_path_factory.mktemp(variable.lower())))
        yield


@pytest.fixture(scope="session")
def advised(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which all processes of this run keep what was advised."""
    own = tmp_path_factory.getbasetemp()
    folder = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "advised"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture(scope="session", autouse=True)
def _advice_kept(advised: Path) -> Iterator[None]:
    """Hundreds of calls begin alike: what is advised on a job is worked out once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(standing, "advise", KeptAdvice(advised))
        yield


@pytest.fixture
def cache(tmp_path: Path) -> Path:
    """An empty cache folder of this test alone."""
    return tmp_path / "cache"
