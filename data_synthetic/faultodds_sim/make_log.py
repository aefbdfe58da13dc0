"""Write a job log of the invented shop: python -m faultodds_sim.make_log --jobs 100000 --out log.csv --seed
1.

The hidden truth goes beside it (log_truth.csv). CSV or Parquet by the name's ending; memory does not grow
with the jobs.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .errors import SimError, pick
from .joblog import log_frames

if TYPE_CHECKING:
    import pandas as pd

KINDS = ("csv", "parquet")


def truth_path(out: Path) -> Path:
    """Where the truth of a log is written: log.csv -> log_truth.csv."""
    return out.with_name(f"{out.stem}_truth{out.suffix}")


@contextmanager
def _sink(path: Path) -> Iterator[Callable[[pd.DataFrame], None]]:
    """Open a file that frames are appended to, CSV or Parquet by its ending; it takes its name when it is whole."""
    kind = pick("file kind", path.suffix.lstrip(".").lower(), KINDS)
    beside = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        with _appended(beside, kind) as append:
            yield append
        os.replace(beside, path)
    finally:
        beside.unlink(missing_ok=True)


@contextmanager
def _appended(path: Path, kind: str) -> Iterator[Callable[[pd.DataFrame], None]]:
    if kind == "csv":
        with path.open("w", encoding="utf-8", newline="") as handle:
            yield lambda frame: frame.to_csv(handle, index=False, header=handle.tell() == 0, lineterminator="\n")
        return
    import pyarrow as pa
    import pyarrow.parquet as pq

    writer: list[Any] = []

    def write(frame: pd.DataFrame) -> None:
        table = pa.Table.from_pandas(frame, preserve_index=False)
        if not writer:
            writer.append(pq.ParquetWriter(path, table.schema))
        writer[0].write_table(table)

    try:
        yield write
    finally:
        for open_writer in writer:
            open_writer.close()


def write_log(jobs: int, out: Path, seed: int = 1, on_rows: Callable[[int], None] | None = None, town: int = 0) -> Path:
    """Write a log of `jobs` rows of a town and its truth; return the truth's path.

    `on_rows` is told how many rows are written.

    Raises `SimError` for a bad number of jobs, `UnknownNameError` for an ending other than .csv or .parquet.
    """
    truth = truth_path(out)
    made = 0
    with _sink(out) as log_sink, _sink(truth) as truth_sink:
        for log, known in log_frames(jobs, seed, town):
            log_sink(log)
            truth_sink(known)
            made += len(log)
            if on_rows:
                on_rows(made)
    return truth


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command; return 0, or 2 with one line on stderr for bad input."""
    parser = argparse.ArgumentParser(
        prog="python -m faultodds_sim.make_log", description="Write a synthetic job log and its truth."
    )
    parser.add_argument("--jobs", type=int, default=1000, help="rows to write (default 1000)")
    parser.add_argument("--out", type=Path, required=True, help="file to write, .csv or .parquet")
    parser.add_argument("--seed", type=int, default=1, help="same seed and jobs, same bytes (default 1)")
    parser.add_argument("--town", type=int, default=0, help="another invented town, with other faults (default 0)")
    args = parser.parse_args(argv)
    from rich.console import Console
    from rich.progress import Progress

    try:
        with Progress(console=Console(stderr=True)) as bar:
            task = bar.add_task("jobs", total=args.jobs)
            truth = write_log(args.jobs, args.out, args.seed, lambda rows: bar.update(task, completed=rows), args.town)
    except (SimError, OSError) as error:
        sys.stderr.write(f"{error}\n")
        return 2
    sys.stdout.write(f"{args.out}\n{truth}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
