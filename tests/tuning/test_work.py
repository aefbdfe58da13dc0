"""Who does the work changes nothing: threads and a real cluster, with a worker killed midway, give the same bits."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time

import numpy as np
import pytest

from faultodds.errors import FaultoddsError
from faultodds.tuning import work
from faultodds.tuning.fitting import fit
from faultodds.tuning.settings import Settings
from rich_toy import WORTH, rich_toy, toy_log

FULL = Settings(strengths=WORTH, omitted_target=0.0, iterations=12, tolerance=0.0)


def _pieces() -> list[object]:
    log = toy_log(160)
    return [log.iloc[i : i + 40] for i in range(0, 160, 40)]


def test_threads_give_the_same_bits() -> None:
    """Two threads and one give the same numbers to the last bit."""
    one, two = fit(rich_toy(), _pieces(), FULL), fit(rich_toy(), _pieces(), FULL.replace(workers=2))
    assert (one.theta == two.theta).all()
    assert one.log_posterior == two.log_posterior


def test_a_cluster_that_loses_a_worker_gives_the_same_bits() -> None:
    """A local Dask cluster of two worker processes, one of them killed in the middle of the fit, ends at the same numbers."""
    distributed = pytest.importorskip("distributed")
    alone = fit(rich_toy(), _pieces(), FULL)
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
        ) as cluster,
        distributed.Client(cluster, set_as_default=False) as client,
    ):
        pids = list(client.run(os.getpid).values())
        killed = threading.Event()

        def kill_one() -> None:
            time.sleep(0.4)
            os.kill(pids[0], signal.SIGKILL)
            killed.set()

        threading.Thread(target=kill_one, daemon=True).start()
        together = fit(rich_toy(), _pieces(), FULL.replace(scheduler=cluster.scheduler_address, iterations=12))
        assert killed.wait(5)
    assert together.jobs == alone.jobs == 160
    np.testing.assert_array_equal(together.theta, alone.theta)


def test_a_cluster_that_is_not_there() -> None:
    """An address nobody answers at is refused with what to type."""
    pytest.importorskip("distributed")
    with pytest.raises(FaultoddsError, match="no cluster answers at 'nowhere'"):
        fit(rich_toy(), _pieces(), FULL.replace(scheduler="nowhere"))


def test_a_cluster_without_a_worker_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody would do the work: told within half a minute (`WAIT_FOR_WORKERS`, shortened here), with what to type."""
    distributed = pytest.importorskip("distributed")
    assert work.WAIT_FOR_WORKERS < 30
    monkeypatch.setattr(work, "WAIT_FOR_WORKERS", 1)
    with (
        distributed.LocalCluster(n_workers=0, processes=False, dashboard_address=None, silence_logs=50) as cluster,
        pytest.raises(FaultoddsError, match=r"no worker for 1 seconds.*dask worker"),
    ):
        fit(rich_toy(), _pieces(), FULL.replace(scheduler=cluster.scheduler_address))


def test_a_cluster_without_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the extra, the message says what to install."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(FaultoddsError, match=r"pip install 'faultodds\[cluster\]'"):
        fit(rich_toy(), _pieces(), FULL.replace(scheduler="tcp://127.0.0.1:1"))
