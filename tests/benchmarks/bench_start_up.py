"""A cold `faultodds next --json` with a warm cache, against importing numpy.

Run `python tests/benchmarks/bench_start_up.py [PAIRS]`. The two commands are alternated, each in a process of
its own; what counts is the median of the ratios of neighbouring runs, which a busy machine moves less than
either time. The target is at most 2.5.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time

NUMPY = [sys.executable, "-c", "import numpy"]
NEXT = [sys.executable, "-c", "from faultodds_cli.main import run; run()", "next", "--json"]


def main() -> None:
    """Print the median of both times and of the ratios."""
    pairs = int(sys.argv[1]) if len(sys.argv) > 1 else 21
    with tempfile.TemporaryDirectory() as folder:
        environment = {**os.environ, "FAULTODDS_CACHE": f"{folder}/cache", "FAULTODDS_DATA": folder}
        # Both sides may keep their compiled modules, as they do on anybody's machine.
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        first = _seconds(NEXT, environment)
        _seconds(NUMPY, environment)
        runs = [(_seconds(NUMPY, environment), _seconds(NEXT, environment)) for _ in range(pairs)]
    ratios = sorted(answer / bare for bare, answer in runs)
    print(f"first run, which compiles:      {first:6.2f} s")
    print(f"python -c 'import numpy':       {statistics.median(b for b, _ in runs):6.3f} s (median of {pairs})")
    print(f"faultodds next --json, cached:  {statistics.median(a for _, a in runs):6.3f} s")
    print(f"ratio: median {statistics.median(ratios):.2f}, from {ratios[0]:.2f} to {ratios[-1]:.2f}; target 2.5")


def _seconds(command: list[str], environment: dict[str, str]) -> float:
    start = time.perf_counter()
    run = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    taken = time.perf_counter() - start
    if run.returncode:
        sys.exit(f"{' '.join(command)} ended with {run.returncode}: {run.stderr.strip()}")
    return taken


if __name__ == "__main__":
    main()
