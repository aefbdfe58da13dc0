"""Who goes through the chunks: this process, threads of it, or a Dask cluster. The answers are the same bits in every case.

Chunks are gone through in any order and added up in one. Threads are enough on one machine, since the sums run outside the
interpreter's lock; a cluster is sent each chunk once, and only the chances travel after that.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from typing import Any, Protocol

from faultodds.errors import FaultoddsError
from faultodds.knowledge import Floats
from faultodds.tuning.encode import Chunk
from faultodds.tuning.likelihood import Silence
from faultodds.tuning.settings import Settings
from faultodds.tuning.statistics import Statistics, statistics, total
from faultodds.tuning.structure import Structure

WAIT_FOR_WORKERS = 15  # seconds


def one_thread_each() -> Any:
    """A context in which a matrix product keeps to the thread that asked for it.

    Left to themselves the products of one pass start threads of their own, beside those that share out the chunks: slower by a
    half, and the last bits of a sum would depend on how many there are.
    """
    from threadpoolctl import threadpool_limits

    return threadpool_limits(1, user_api="blas")


class Pass(Protocol):
    """One pass over all chunks."""

    def __call__(self, theta: Floats, silence: Silence) -> Statistics:
        """Expected counts of every chunk at `theta`, added up."""
        ...


@contextlib.contextmanager
def workers(structure: Structure, chunks: Sequence[Chunk], settings: Settings) -> Iterator[Pass]:
    """Whoever `settings` names, ready to go through the chunks as often as asked."""
    if settings.scheduler is not None:
        with _cluster(structure, chunks, settings.scheduler) as go:
            yield go
    elif settings.workers > 1 and len(chunks) > 1:
        yield _threads(structure, chunks, settings.workers)
    else:
        yield lambda theta, silence: total(statistics(structure, c, theta, silence) for c in chunks)


def each(make: Callable[[Chunk], Chunk], chunks: Sequence[Chunk], threads: int) -> list[Chunk]:
    """Every chunk made over, on so many threads, in order."""
    if threads < 2 or len(chunks) < 2:
        return [make(chunk) for chunk in chunks]
    from joblib import Parallel, delayed

    return list(Parallel(n_jobs=threads, backend="threading")(delayed(make)(chunk) for chunk in chunks))


def _threads(structure: Structure, chunks: Sequence[Chunk], count: int) -> Pass:
    from joblib import Parallel, delayed

    def go(theta: Floats, silence: Silence) -> Statistics:
        jobs = (delayed(statistics)(structure, c, theta, silence) for c in chunks)
        return total(Parallel(n_jobs=count, backend="threading")(jobs))

    return go


@contextlib.contextmanager
def _cluster(structure: Structure, chunks: Sequence[Chunk], address: str) -> Iterator[Pass]:
    """A Dask cluster. Data are kept as tasks, not scattered, so that the scheduler can make them anew when a worker dies."""
    client = _client(address)
    try:
        model = client.submit(_same, structure, pure=False)
        data = [client.submit(_same, chunk, pure=False) for chunk in chunks]

        def go(theta: Floats, silence: Silence) -> Statistics:
            parts = [client.submit(statistics, model, chunk, theta, silence, pure=False, retries=3) for chunk in data]
            return total(client.gather(parts))

        yield go
    finally:
        client.close()


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise FaultoddsError(
            "a cluster needs the packages dask and distributed, which are not here. "
            "Type: pip install 'faultodds[cluster]', or leave out --scheduler to work on this machine."
        ) from None
    try:
        client = Client(address, timeout="10s", set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise FaultoddsError(
            f"no cluster answers at '{address}' ({' '.join(str(error).split())[:80]}). "
            "Start one with 'dask scheduler', or leave out --scheduler to work on this machine."
        ) from None
    try:
        client.wait_for_workers(1, timeout=WAIT_FOR_WORKERS)
    except TimeoutError:
        client.close()  # type: ignore[no-untyped-call]
        raise FaultoddsError(
            f"the cluster at '{address}' has had no worker for {WAIT_FOR_WORKERS} seconds, so nobody would do the work. "
            f"Start one with 'dask worker {address}', or leave out --scheduler to work on this machine."
        ) from None
    return client


def _same(data: Any) -> Any:
    return data
