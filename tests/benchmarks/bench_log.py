"""How long a synthetic job log takes, against pandas writing the same rows to CSV, in one run: bench_log.py
[JOBS].

Prints seconds, the ratio (the aim is at most 20) and peak memory (the aim is under 2 GiB).
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import pandas as pd

from faultodds_sim.make_log import truth_path, write_log


def main(jobs: int) -> None:
    """Make a log of `jobs` rows, read it back, write it with pandas alone, and print both times."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "log.csv"
        start = time.perf_counter()
        write_log(jobs, out, seed=1)
        made = time.perf_counter() - start
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20  # before pandas holds the whole log
        log = pd.read_csv(out, dtype=str, keep_default_na=False)
        truth = pd.read_csv(truth_path(out), keep_default_na=False)
        start = time.perf_counter()
        log.to_csv(Path(folder) / "again.csv", index=False)
        truth.to_csv(Path(folder) / "truth_again.csv", index=False)
        wrote = time.perf_counter() - start
    print(f"jobs {len(log)}  columns {log.shape[1]}  made and written {made:.1f} s ({1e6 * made / jobs:.0f} us a job)")
    print(f"pandas writes the same log and truth in {wrote:.2f} s  ratio {made / wrote:.1f}  (aim: at most 20)")
    print(f"peak memory while making it {peak:.2f} GiB  (aim: under 2)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
